"""The collector's own code against the virtual sensor: `runs.py COLLECTOR GOLDEN OUT [--runs N] [--only NAME]`.

Each scenario raises when anything is not as it must be. Randomness is by seed; a failing run names it.
"""

import argparse
import asyncio
import json
import logging
import random
import struct
import sys
import tempfile
import time
import traceback
import zlib
from pathlib import Path

from bumble.core import ProtocolError
from bumble.core import TimeoutError as BumbleTimeout
from bumble.keys import MemoryKeyStore
from bumble.pairing import PairingConfig, PairingDelegate
from phone import MESSAGE, STATE, WORDS, Phone, Refused, unstuffed
from sensor import Air, Meter, Sensor, Wearer, crc, record, result, sfloat

COMPARES = PairingDelegate.DISPLAY_OUTPUT_AND_YES_NO_INPUT
SHOWS = PairingDelegate.DISPLAY_OUTPUT_ONLY
TYPES = PairingDelegate.KEYBOARD_INPUT_ONLY
DUMB = PairingDelegate.NO_OUTPUT_NO_INPUT

START = bytes.fromhex("ea070b02060000" + "80ff")  # 2026-11-02 06:00:00, zone and daylight saving not known
HERS = "F1:1A:2B:3C:4D:5E"
OTHER = "F2:1A:2B:3C:4D:5E"
PHONE = "F3:1A:2B:3C:4D:5E"
STRANGER = "F4:1A:2B:3C:4D:5E"
args = None


class Collector:
    """The collector's process, and what it said."""

    def __init__(self, scene, folder, *options):
        self.scene, self.air, self.options = scene, scene.air, list(options)
        self.flash, self.stream = Path(folder) / "flash", Path(folder) / "stream"
        self.lines, self.process = [], None

    async def __aenter__(self):
        options = [*self.options, "flash", self.flash, "stream", self.stream]
        self.process = await asyncio.create_subprocess_exec(
            args.collector, "collect", f"127.0.0.1:{self.air.port}", *map(str, options),
            stdout=asyncio.subprocess.PIPE)
        self.reader = asyncio.ensure_future(self.read())
        return self

    async def read(self):
        while line := await self.process.stdout.readline():
            self.lines.append(line.decode().rstrip())
            if args.verbose:
                print("   ", self.lines[-1])

    async def __aexit__(self, *_):
        if self.process.returncode is None:
            self.process.kill()  # as a power cut would
        await self.process.wait()
        await self.reader
        await self.scene.silence()

    def alive(self):
        return self.process.returncode is None

    def count(self, start):
        return sum(line.startswith(start) for line in self.lines)

    def records(self):
        """Minutes, in the order in which they came."""
        return [int(line.split()[1]) for line in self.lines if line.startswith("record ")]

    def sessions(self):
        return [line for line in self.lines if line.startswith("start ")]

    async def until(self, what, seconds=30):
        await until(what, seconds, lambda: "\n".join(self.lines[-30:]))


async def until(what, seconds, say=str):
    end = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < end, f"not within {seconds} s:\n{say()}"
        await asyncio.sleep(0.02)


def ensure(true, *words):
    assert true, " ".join(map(str, words))


class Scene:
    """An air, a folder, and a sensor that was paired."""

    def __init__(self, seed=1):
        self.rng, self.air = random.Random(seed), Air()
        self.folder = tempfile.TemporaryDirectory()
        self.peripherals, self.phones = [], []

    async def __aenter__(self):
        await self.air.open()
        return self

    async def __aexit__(self, *_):
        self.folder.cleanup()
        # the virtual devices end with the event loop

    def collector(self, *options):
        return Collector(self, self.folder.name, *options)

    def sensor(self, address=HERS, io=COMPARES, **more):
        more.setdefault("start", START)
        wearer = Wearer(io, more.pop("passkey", None), more.pop("agrees", True))
        return self.known(Sensor(self.air, address, wearer, rng=self.rng, **more))

    async def phone(self, address=PHONE, keys=None, agrees=True):
        phone = Phone.virtual(self.air, address, Wearer(COMPARES, None, agrees), keys)
        await phone.device.power_on()
        self.phones.append(phone)
        return phone

    async def settings(self, text):
        """A settings file as a message."""
        file, out = Path(self.folder.name) / "settings.toml", Path(self.folder.name) / "settings.frame"
        file.write_text(text)
        process = await asyncio.create_subprocess_exec(args.collector, "settings", str(file), str(out),
                                                       stdout=asyncio.subprocess.PIPE)
        said, _ = await process.communicate()
        ensure(process.returncode == 0, said)
        number, message = unstuffed(out.read_bytes()[:-1])
        ensure(number == 2, number)
        return message

    def known(self, peripheral):
        self.peripherals.append(peripheral)
        return peripheral

    async def silence(self):
        """The collector is gone: links with it end, as they would by their timeout."""
        for peripheral in self.peripherals:
            await peripheral.drop()
            await until(lambda: peripheral.connection is None, 10)
        for phone in self.phones:
            await phone.leave()

    async def reopen(self):
        """After a restart of the wrist its controller is new too."""
        await self.air.close()
        self.air.link.remove_controller(self.air.controller)
        await self.air.open()


def fill(sensor, first, last, step=5):
    for minute in range(first, last + 1, step):
        sensor.store(minute, record(minute, 80 + minute // 5 % 100))


async def worn(scene, last):
    """A sensor that was paired and read up to its record of the minute `last`; the power is away since."""
    sensor = scene.sensor()
    fill(sensor, 5, last)
    await sensor.begin()
    async with scene.collector("pair", "sensor") as collector:
        await collector.until(lambda: any(f"below: {last + 1}" in line for line in collector.lines))
    await scene.reopen()
    return sensor


async def drops(seed):
    """300 records owed, the link dropped at ten random places; then ten more live."""
    async with Scene(seed) as scene:
        rng = scene.rng
        places = [rng.randint(1, 27) for _ in range(10)]
        sensor = scene.sensor(drop_after=places, pace=0.002, range_supported=rng.random() < 0.7,
                              crc_on=rng.random() < 0.7, lose=rng.choice([0, 0, 0.05]))
        fill(sensor, 5, 1500)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 300 and sensor.drops == 10, 60)
            await collector.until(lambda: sensor.connection is not None and sensor.device.gatt_server.subscribers, 10)
            await asyncio.sleep(0.3)
            for minute in range(1505, 1555, 5):
                await sensor.live(minute, record(minute, 100))
                await asyncio.sleep(0.03)
            await collector.until(lambda: len(collector.records()) == 310, 30)
            got = collector.records()
            ensure(sorted(got) == list(range(5, 1555, 5)), "each once:", sorted(got))
            return f"300 records over {sensor.drops} drops, {sensor.connected} links, {sensor.reports} transfers, {sensor.lost} lost on the way; 10 live"


async def restart(seed):
    """Power cut; the bond is kept, the link is encrypted anew with it, and what was missed comes."""
    async with Scene(seed) as scene:
        sensor = scene.sensor()
        fill(sensor, 5, 200)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 40)
            await collector.until(lambda: any("below: 201" in line for line in collector.lines))
        first = sensor.encrypted
        fill(sensor, 205, 300)
        await scene.reopen()
        async with scene.collector() as collector:
            await collector.until(lambda: len(collector.records()) >= 20)
            await asyncio.sleep(0.5)
            ensure("known true false" in collector.lines, "known from the flash")
            ensure(collector.count("note Paired") == 0 and collector.count("same?") == 0, "no second pairing")
            ensure(collector.count("note Linked(Sensor, Authenticated)") == 1, collector.lines)
            ensure(sensor.encrypted > first, "encrypted anew")
            ensure(collector.records() == list(range(205, 301, 5)), "only what was missed:", collector.records())
            return "40 records, power cut, 20 missed ones with the kept bond"


async def passkey(seed):
    """Digits printed on the sensor are typed on the wrist; wrong ones end in nothing; digits of the wrist typed there."""
    async with Scene(seed) as scene:
        sensor = scene.sensor(io=SHOWS, passkey=271828)
        fill(sensor, 5, 20)
        await sensor.begin()
        async with scene.collector("pair", "sensor", "type", "271829") as collector:
            await collector.until(lambda: collector.count("note PairingFailed") > 0)
            ensure(not collector.records(), "nothing from whom was not paired")
        await scene.reopen()
        async with scene.collector("pair", "sensor", "type", "271828") as collector:
            await collector.until(lambda: len(collector.records()) == 4)
            ensure(collector.count("note Paired(Sensor, Authenticated)") == 1, collector.lines)
    async with Scene(seed) as scene:
        sensor = scene.sensor(io=TYPES)
        fill(sensor, 5, 20)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: collector.count("show ") == 1)
            sensor.wearer.passkey = int(next(line for line in collector.lines if line.startswith("show ")).split()[1])
            await collector.until(lambda: len(collector.records()) == 4)
            ensure(collector.count("note Paired(Sensor, Authenticated)") == 1, collector.lines)
    return "printed digits typed on the wrist, wrong ones refused; the wrist's digits typed on the sensor"


async def compared(seed):
    """The same six digits on both; a no on either side ends in nothing."""
    for wrist, there in (("yes", True), ("no", True), ("yes", False)):
        async with Scene(seed) as scene:
            sensor = scene.sensor(agrees=there)
            fill(sensor, 5, 20)
            await sensor.begin()
            async with scene.collector("pair", "sensor", "same", wrist) as collector:
                if wrist == "yes" and there:
                    await collector.until(lambda: len(collector.records()) == 4)
                    said = next(line for line in collector.lines if line.startswith("same? "))
                    ensure(int(said.split()[1]) == sensor.wearer.compared, "the same digits")
                else:
                    await collector.until(lambda: collector.count("note PairingFailed") > 0)
                    await asyncio.sleep(0.3)
                    ensure(not collector.records() and collector.count("note Paired") == 0, collector.lines)
    return "equal digits on both sides; a no on either ends in nothing"


async def just_works(seed):
    """A sensor without display: refused as long as digits are wanted, taken with a plain warning."""
    async with Scene(seed) as scene:
        sensor = scene.sensor(io=DUMB)
        fill(sensor, 5, 20)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: collector.count("note Refused(Sensor, Unsure)") > 0)
            ensure(not collector.records(), "nothing")
        await scene.reopen()
        async with scene.collector("pair", "sensor", "digits", "no") as collector:
            await collector.until(lambda: len(collector.records()) == 4)
            ensure(collector.count("WARNING") == 1 and collector.count("note Paired(Sensor, Encrypted)") == 1,
                   collector.lines)
    return "refused while digits are wanted; taken with a warning"


async def stranger(seed):
    """Another sensor, nearer: never listened to without pairing; nor one that bears the address and has not the key."""
    async with Scene(seed) as scene:
        sensor = scene.sensor()
        fill(sensor, 5, 50)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 10)
            await collector.until(lambda: any("below: 51" in line for line in collector.lines))
        await sensor.device.stop_advertising()
        await scene.reopen()
        other = scene.sensor(address=OTHER, io=DUMB)
        fill(other, 5, 500)
        await other.begin()
        async with scene.collector() as collector:
            await asyncio.sleep(3)
            ensure(other.connected == 0, "not even a link")
            ensure(collector.count("note Refused(Sensor, Stranger)") > 0, "the wearer is told that it is near")
        await other.device.stop_advertising()
        await scene.reopen()
        scene.air.link.remove_controller(sensor.controller)
        thief = scene.sensor(io=DUMB)  # the same address, no key
        fill(thief, 5, 500)
        await thief.begin()
        async with scene.collector() as collector:
            await collector.until(lambda: thief.connected >= 2 and collector.count("note Refused(Sensor, NoKey)"))
            ensure(not collector.records() and not thief.device.gatt_server.subscribers, "nothing was read")
            ensure(collector.count("note Linked") == 0 and collector.alive(), collector.lines)
    return "a stranger got no link; one with the address and without the key was not listened to"


async def replaced(seed):
    """A new sensor is paired while the old one is still heard: its records count anew, and the old one is a stranger."""
    async with Scene(seed) as scene:
        old = scene.sensor()
        fill(old, 5, 1000)
        await old.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 200)
            await collector.until(lambda: any("below: 1001" in line for line in collector.lines))
        await scene.reopen()
        links = old.connected
        new = scene.sensor(address=OTHER, start=bytes.fromhex("ea070b0306000080ff"))
        fill(new, 5, 60)
        async with scene.collector("pair", "sensor") as collector:
            await asyncio.sleep(1)
            ensure(old.device.is_advertising and old.connected == links, "a new one is looked for, not the old one")
            await new.begin()
            await collector.until(lambda: len(collector.records()) == 12)
            ensure(collector.records() == list(range(5, 61, 5)), collector.records())
            await asyncio.sleep(1)
            ensure(old.device.is_advertising and old.connected == links, "the old one is a stranger")
    return "200 records of the old, 12 of the new from its first on; the old one, heard all the while, got no link"


async def again(seed):
    """A session begun anew on the same sensor: its count starts over, and so does the ledger."""
    async with Scene(seed) as scene:
        sensor = scene.sensor()
        sensor.stopped = False
        fill(sensor, 5, 300)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 60)
            sensor.records, sensor.offset, sensor.start_bytes = {}, 0, bytes.fromhex("ea070b0307000080ff")
            await asyncio.sleep(0.2)
            for minute in range(5, 30, 5):
                await sensor.live(minute, record(minute, 120))
                await asyncio.sleep(0.2)
            await collector.until(lambda: len(collector.sessions()) == 2)
            fill(sensor, 30, 60)
            await sensor.drop()
            # the first of the new session may have been taken for late ones of the old
            await collector.until(lambda: set(collector.records()[-9:]) >= {35, 40, 45, 50, 55, 60})
    return "another start was read when the count went back; its records were fetched"


async def starts(seed):
    """A sensor that waits: its session is started when the wearer wants it, not before."""
    async with Scene(seed) as scene:
        sensor = scene.sensor()
        sensor.stopped = True
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: collector.count("status") > 0)
            await asyncio.sleep(1)
            ensure(sensor.stopped, "nobody asked for it")
        await scene.reopen()
        async with scene.collector("start", "yes") as collector:
            await collector.until(lambda: not sensor.stopped)
            await asyncio.sleep(0.3)
            await sensor.live(5, record(5, 111))
            await collector.until(lambda: collector.records() == [5])
    return "started when the wearer wanted it, not before"


async def burst(seed):
    """A hundred records at once, from a sensor that knows no ranges."""
    async with Scene(seed) as scene:
        sensor = scene.sensor(range_supported=False, pace=0)
        fill(sensor, 5, 500)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 100)
            ensure(sorted(collector.records()) == list(range(5, 501, 5)), "each once")
            return f"100 records in {sensor.reports} transfers, {sensor.sent} sent"


async def liar(seed):
    """Half of each transfer is left out, and success reported: told apart by the records' own minutes."""
    async with Scene(seed) as scene:
        sensor = scene.sensor(lie=True)
        fill(sensor, 5, 300)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) >= 30)
            await asyncio.sleep(2)
            got = set(collector.records())
            sensor.lie = False
            missing = 60 - len(got)
            return f"{len(got)} of 60 from a sensor that leaves out half of each transfer and reports success, {missing} given up after three whole answers"


async def clock(seed):
    """Starts that are wrong, not known, or no date at all: the records come all the same."""
    outcomes = []
    for name, start in (("in 2105", bytes.fromhex("39080c1f173b3b80ff")), ("not known", bytes(7) + b"\x80\xff"),
                        ("in 1999", bytes.fromhex("cf070101000000" + "80ff")), ("no date", b"\xff" * 9)):
        async with Scene(seed) as scene:
            sensor = scene.sensor(start=start)
            fill(sensor, 5, 100)
            await sensor.begin()
            async with scene.collector("pair", "sensor") as collector:
                await collector.until(lambda: len(collector.records()) == 20)
                ensure(len(collector.sessions()) == 1, collector.sessions())
                await sensor.live(105, record(105, 90))
                await collector.until(lambda: len(collector.records()) == 21)
                outcomes.append(name)
    return "start " + ", ".join(outcomes) + ": 21 of 21 records each"


async def octets(seed):
    """Two status octets whose order the readings of the specification dispute: a fault in one order only is a doubt."""
    async with Scene(seed) as scene:
        sensor = scene.sensor()
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await sensor.live(5, record(5, 100))
            await collector.until(lambda: collector.records() == [5])
            # status and warning present; 0x08 is a malfunction in the one, a result above the high level in the other
            for minute, sent in ((10, b"\x08\x00"), (15, b"\x00\x08"), (20, b"\x00\x00"), (25, b"\x08\x08")):
                plain = record(minute, 100 + minute)
                await sensor.live(minute, bytes([len(plain) + 2, 0xA0]) + plain[2:] + sent)
            await collector.until(lambda: len(collector.records()) == 5)
            doubted = [int(line.split()[1]) for line in collector.lines if line.endswith("order in doubt")]
            ensure(doubted == [10, 15], doubted)
            await sensor.drop()
            await collector.until(lambda: any("order_in_doubt: 2" in line for line in collector.lines))
    return "two of five records say a fault in one order of the octets only: taken, doubted, counted"


async def fuzz(seed):
    """Damaged and made-up payloads, packets and answers among good ones: nothing falls, nothing false is taken."""
    async with Scene(seed) as scene:
        rng = scene.rng
        sensor = scene.sensor(crc_on=True)
        fill(sensor, 5, 100)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 20)
            sent = 0
            for minute in range(105, 305, 5):
                for _ in range(25):
                    await until(lambda: sensor.connection is not None and sensor.device.gatt_server.subscribers, 20)
                    sent += 1
                    await hostile(sensor, rng)
                await sensor.live(minute, record(minute, 100))
                await asyncio.sleep(0.01)
            await collector.until(lambda: len(set(collector.records())) == 60, 60)
            ensure(collector.alive(), "alive")
            ensure(sorted(collector.records()) == list(range(5, 305, 5)), "each once:", sorted(collector.records()))
            return f"{sent} hostile payloads and packets, {sensor.connected} links; 60 of 60 records, none false"


async def hostile(sensor, rng):
    kind = rng.randrange(9)
    noise = bytes(rng.randrange(256) for _ in range(rng.randrange(24)))
    good = sensor.sealed(record(rng.randrange(65536), rng.randrange(4096)))
    connection = sensor.connection
    if connection is None:
        return
    if kind == 0:
        await sensor.notify(sensor.measurement, noise)
    elif kind == 1:  # a flipped bit: the checksum tells
        place = rng.randrange(len(good))
        await sensor.notify(sensor.measurement, good[:place] + bytes([good[place] ^ 1 << rng.randrange(8)]) + good[place + 1:])
    elif kind == 2:
        await sensor.notify(sensor.measurement, good[: rng.randrange(len(good))])
    elif kind == 3:  # a record that cannot be: far ahead of time
        await sensor.notify(sensor.measurement, sensor.sealed(record(rng.randrange(2000, 65536), 100)))
    elif kind == 4:
        await sensor.notify(sensor.racp, noise)
    elif kind == 5:
        sensor.device.send_l2cap_pdu(connection.handle, 4, b"")  # an empty attribute packet
    elif kind == 6:  # an attribute packet of noise, no answer to any request
        sensor.device.send_l2cap_pdu(connection.handle, 4, bytes([rng.choice([0x1B, 0x1D, 0x7F, 0x52])]) + noise)
    elif kind == 7:
        sensor.device.send_l2cap_pdu(connection.handle, rng.choice([5, 6, 7, 0x3A, 0x40]), b"" if rng.random() < 0.2 else bytes([rng.choice([0x7E, 0x7F])]) + noise)
    else:
        await sensor.notify(sensor.measurement, b"")
    await asyncio.sleep(0.001)


async def meter(seed):
    """A meter: all its results, then only new ones."""
    async with Scene(seed) as scene:
        meter = scene.known(Meter(scene.air, HERS, Wearer(COMPARES), rng=scene.rng))
        for number in range(3, 33):
            meter.records[number] = result(number, 90 + number)
        await meter.begin()
        async with scene.collector("pair", "meter") as collector:
            await collector.until(lambda: collector.count("meter ") == 30)
            await collector.until(lambda: collector.count("note Left(Finished)") > 0)
            meter.records[33] = result(33, 140)
            await collector.until(lambda: collector.count("meter ") == 31)
            await asyncio.sleep(0.5)
            numbers = [int(line.split()[1]) for line in collector.lines if line.startswith("meter ")]
            ensure(numbers == list(range(3, 34)), numbers)
    return "30 results, then the new one"


def golden():
    """The desk's invented day: start, time, and each measurement by its minute."""
    data, place, day, start, moment = Path(args.golden).read_bytes(), 0, {}, None, None
    while place < len(data):
        _minute, length = struct.unpack("<HB", data[place : place + 3])
        number, payload = unstuffed(data[place + 3 : place + 3 + length - 1])
        place += 3 + length
        if number == 0x2AA7:
            day[struct.unpack("<H", payload[4:6])[0]] = payload
        elif number == 0x2AAA:
            start = payload
        elif number == 0x2A2B:
            moment = payload
    return day, start, moment


async def day(seed, disturbed=False):
    """The desk's day over the radio, live, with ten drops when disturbed; then the same screen as by the wire."""
    measurements, start, moment = golden()
    async with Scene(seed) as scene:
        sensor = scene.sensor(start=start)
        sensor.time = moment
        minutes = sorted(measurements)
        await sensor.begin()
        drops = [8 * place for place in scene.rng.sample(range(1, len(minutes) // 8 - 1), 10)] if disturbed else []
        async with scene.collector("pair", "sensor") as collector:
            sensor.store(minutes[0], measurements[minutes[0]])
            await collector.until(lambda: len(collector.records()) == 1)
            for place, minute in enumerate(minutes[1:], 1):
                if place in drops:
                    await sensor.drop()
                await sensor.live(minute, measurements[minute])
                # four readings, twenty minutes, pass while the link is down: more than that no sensor counts in a second
                if place - 3 in drops or not any(place - 3 < drop <= place for drop in drops):
                    await collector.until(lambda: len(collector.records()) == place + 1)
            await collector.until(lambda: len(collector.records()) == len(minutes), 40)
            stream = collector.stream
            out = Path(args.out) / ("day-disturbed.png" if disturbed else "day.png")
            process = await asyncio.create_subprocess_exec(
                args.collector, "compare", str(stream), args.golden, str(out),
                stdout=asyncio.subprocess.PIPE, stderr=asyncio.subprocess.STDOUT)
            said, _ = await process.communicate()
            ensure(process.returncode == 0, said.decode())
            return f"{said.decode().strip()}; {sensor.connected} links"


async def day_disturbed(seed):
    """The same with ten drops."""
    return await day(seed, True)


class Packets:
    """Counts what goes over the air."""

    def __init__(self, link):
        self.count, send = 0, link.send_acl_data

        def counted(*given):
            self.count += 1
            send(*given)

        link.send_acl_data = counted

    def since(self, before):
        return self.count - before


async def duty(seed):
    """How many packets a link, a reading and a message of settings take: what the table of energy goes by."""
    async with Scene(seed) as scene:
        sensor = await worn(scene, 20)
        packets, phone = Packets(scene.air.link), await scene.phone()
        async with scene.collector("pair", "desk") as collector:
            await collector.until(lambda: collector.count("status") == 1)
            await asyncio.sleep(3.5)  # what it asks for has been answered, or not
            counts = {"link": packets.count}
            before = packets.count
            for minute in range(25, 225, 5):
                await sensor.live(minute, record(minute, 120))
                await asyncio.sleep(0.02)
            await collector.until(lambda: len(collector.records()) == 40)
            counts["reading"] = packets.since(before) / 40
            await phone.connect()
            await phone.pair()
            before, message = packets.count, await scene.settings(low_limit(75))
            await phone.send(message)
            counts["settings"] = packets.since(before)
            ensure(await phone.read() == message, "back as sent")
    file = Path(__file__).with_name("duty.json")
    if args.bless:
        file.write_text(json.dumps(counts) + "\n")
    kept = json.loads(file.read_text())
    for what, count in counts.items():
        ensure(abs(count - kept[what]) <= max(1, kept[what] / 10), what, count, "and not", kept[what], "(--bless renews)")
    return ", ".join(f"{what} {count}" for what, count in counts.items()) + " packets"


def low_limit(mg_dl):
    return f"[alarms.base.low]\nlimit = {mg_dl}\n"


async def lives(sensor, first, mg_dl=120, every=0.15):
    """Readings for as long as it runs, whatever else goes on."""
    minute = first
    while True:
        await sensor.live(minute, record(minute, mg_dl + minute // 5 % 3))
        minute += 5
        await asyncio.sleep(every)


async def refused(work, code):
    try:
        await work
    except Refused as fault:
        ensure(fault.code == code, fault.code, "for", code)
    else:
        ensure(False, "was granted")


async def came_to(work, seconds=2):
    """Whether it was done, and not refused, broken off, or never answered."""
    try:
        await asyncio.wait_for(work, seconds)
        return True
    except (Refused, ProtocolError, asyncio.TimeoutError, asyncio.CancelledError, BumbleTimeout):
        return False


async def settings(seed):
    """A phone is paired while the wearer wants it; its settings are in force, outlive a power cut and come back as sent."""
    async with Scene(seed) as scene:
        sensor = await worn(scene, 60)
        phone = await scene.phone()
        async with scene.collector("pair", "desk") as collector:
            await collector.until(lambda: collector.count("note Linked(Sensor") == 1)
            links, living = sensor.connected, asyncio.ensure_future(lives(sensor, 65, 85))
            await phone.connect()
            await phone.pair()
            await collector.until(lambda: collector.count("note DeskPaired") == 1)
            [asked] = [line for line in collector.lines if line.startswith("same?")]
            ensure(asked == f"same? {phone.wearer.compared:06}", asked)
            built = await phone.read()
            ensure((await phone.state())[1] == 0, "as built")
            sent = []
            for text in (Path(args.golden).with_name("settings.toml").read_text(), low_limit(60)):
                sent.append(await scene.settings(text))
                await phone.send(sent[-1])
                ensure(await phone.read() == sent[-1], "back as sent")
                ensure((await phone.words()).endswith(" kept."), await phone.words())
            living.cancel()
            await all_heard_since(collector, sensor, links, 60)
        await scene.reopen()
        old = phone
        phone = await scene.phone(keys=old.device.keystore)
        async with scene.collector() as collector:
            await collector.until(lambda: collector.count("note Linked(Sensor") == 1)
            links = sensor.connected
            await phone.connect(mtu=None)  # the shortest packets there are
            await phone.encrypt()
            await collector.until(lambda: collector.count("note DeskLinked(Authenticated)") == 1)
            ensure(await phone.read() == sent[-1] != built, "after a power cut")
            state = await phone.state()
            ensure(state[:4] == (1, 1, struct.unpack("<I", sent[-1][-4:])[0], len(sent[-1])), state)
            before = len(collector.records())
            minute = max(sensor.records) + 5
            await sensor.live(minute, record(minute, 85))
            await collector.until(lambda: len(collector.records()) == before + 1)
            ensure(not collector.count("rings"), "85 is no low by a limit of 60")
            sent.append(await scene.settings(low_limit(90)))
            await phone.send(sent[-1])
            for minute in range(minute + 5, minute + 25, 5):
                await sensor.live(minute, record(minute, 84 - minute // 5 % 2))
                await asyncio.sleep(0.05)
            await collector.until(lambda: any("rings" in line and "Low" in line.split() for line in collector.lines))
            ensure(await phone.read() == sent[-1], "back as sent")
            ensure(sensor.connected == links, "one link")
        return (f"{len(sent)} messages of {', '.join(str(len(it)) for it in sent)} octets kept and read back the same, the "
                f"last but one after a power cut; {len(sensor.records) - 12} readings meanwhile over the same link; 85 rings "
                "by a limit of 90, not by one of 60")


async def all_heard_since(collector, sensor, links, minute):
    """The same of those after a minute."""
    wanted = sorted(it for it in sensor.records if it > minute)
    await collector.until(lambda: len(collector.records()) >= len(wanted))
    ensure(sorted(collector.records()) == wanted, "each once:", collector.records())
    ensure(sensor.connected == links, "the sensor's link held", sensor.connected)


def forged(message, at, octets):
    """Other octets, and a checksum that fits."""
    body = bytearray(message[:-4])
    body[at : at + len(octets)] = octets
    return bytes(body) + struct.pack("<I", zlib.crc32(bytes(body)))


async def settings_refused(seed):
    """One bad part refuses the whole; a link or the power that goes in the middle leaves what was; so does a worn chip."""
    async with Scene(seed) as scene:
        sensor = await worn(scene, 20)
        phone = await scene.phone()
        first, other = await scene.settings(low_limit(75)), await scene.settings(low_limit(80))
        async with scene.collector("pair", "desk") as collector:
            await collector.until(lambda: collector.count("note Linked(Sensor") == 1)
            links, living = sensor.connected, asyncio.ensure_future(lives(sensor, 25))
            await phone.connect()
            await phone.pair()
            await collector.until(lambda: collector.count("note DeskPaired") == 1)
            await phone.send(first)
            low = other.index(struct.pack("<f", 80.0))
            for bad, words in ((forged(other, low, struct.pack("<f", 3.9)), "low limit out of range."),
                               (forged(other, low, b"\x00\x00\xc0\x7f"), "low glucose out of range."),
                               (forged(other, 4, b"\x63"), "of another version."), (other[:-1], "not whole."),
                               (other[: len(other) // 2], "not whole."), (b"GPSE", "not whole."),
                               (other[:-1] + bytes([other[-1] ^ 1]), "damaged.")):
                await refused(phone.send(bad), 0x85)
                ensure("refused" in await phone.words() and (await phone.words()).endswith(words), await phone.words())
                ensure(await phone.read() == first, "those before hold")
            for work, code in ((phone.begin(other, version=2), 0x81), (phone.begin(b""), 0x82), (phone.begin(bytes(984)), 0x82),
                               (phone.command(b"\x03"), 0x83), (phone.part(other, 0), 0x83), (phone.command(b"\x07"), 0x80)):
                await refused(work, code)
            # a part left out, a part twice, an octet damaged on the way
            await phone.begin(other)
            await phone.part(other, 0)
            await refused(phone.part(other, 200), 0x83)
            await phone.begin(other)
            await phone.part(other, 0)
            await refused(phone.part(other, 0), 0x83)
            await phone.begin(other)
            offset, damaged = 0, other[:100] + bytes([other[100] ^ 4]) + other[101:]
            while offset < len(other):
                offset = await phone.part(damaged, offset)
            await refused(phone.command(b"\x03"), 0x84)
            # the link goes after each part
            broken = 0
            for parts in range(1, 4):
                await phone.begin(other)
                offset = 0
                for _ in range(parts):
                    offset = await phone.part(other, offset)
                await phone.leave()
                broken += 1
                await collector.until(lambda: collector.count("note BrokenOff") == broken)
                await phone.connect()
                await phone.encrypt()
                await refused(phone.command(b"\x03"), 0x83)
                ensure(await phone.read() == first and (await phone.state())[5] == 0, "nothing is left of it")
            await phone.begin(other)
            await phone.part(other, 0)
            living.cancel()
            await all_heard_since(collector, sensor, links, 20)
        await scene.reopen()  # the power went in the middle
        phone = await scene.phone(keys=phone.device.keystore)
        async with scene.collector("worn", "yes") as collector:
            await phone.connect()
            await phone.encrypt()
            ensure(await phone.read() == first, "those before hold")
            await refused(phone.send(other), 0x86)
            ensure((await phone.words()).endswith("not kept: those before hold."), await phone.words())
            ensure(await phone.read() == first, "those before hold")
    return "19 bad transfers, 3 links and the power gone in the middle, a worn chip: those before held each time"


async def settings_stranger(seed):
    """Who is not the paired phone gets nothing: not found, not answered, no pairing; the sensor goes on."""
    async with Scene(seed) as scene:
        sensor = scene.sensor()
        fill(sensor, 5, 20)
        await sensor.begin()
        stranger = await scene.phone(address=STRANGER)
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 4)
            try:
                await stranger.find(2)
                ensure(False, "found")
            except asyncio.TimeoutError:
                pass
            await collector.until(lambda: any("below: 21" in line for line in collector.lines))
        await scene.reopen()
        phone = await scene.phone()
        sent = await scene.settings(low_limit(75))
        async with scene.collector("pair", "desk", "same", "no") as collector:
            await phone.connect()
            ensure(not await came_to(phone.pair()), "the wearer said no")
            await collector.until(lambda: collector.count("note PairingFailed") == 1)
            ensure(collector.count("note DeskPaired") == 0, "no")
        await scene.reopen()
        phone = await scene.phone()
        async with scene.collector("pair", "desk") as collector:
            await collector.until(lambda: collector.count("note Linked(Sensor") == 1)
            links, living = sensor.connected, asyncio.ensure_future(lives(sensor, 25))
            await phone.connect()
            await phone.pair()
            await phone.send(sent)
            await phone.leave()
            # a stranger: asks, and would pair
            await stranger.connect()
            for uuid in (STATE, MESSAGE, WORDS):
                await refused(stranger.value(uuid), 0x05)
            await refused(stranger.begin(sent), 0x05)
            pairing = asyncio.ensure_future(stranger.pair())
            await collector.until(lambda: collector.count("note DeskRefused(Stranger)") == 1)
            ensure(collector.count("same?") == 1, "nobody was asked")
            ensure(not await came_to(pairing), "paired")
            # the phone's address without its key, and a key that is another's
            scene.air.link.remove_controller(phone.controller)
            thief = await scene.phone(keys=MemoryKeyStore())
            await thief.connect()
            await refused(thief.value(MESSAGE), 0x05)
            keys = await phone.device.keystore.get_all()
            [(name, key)] = keys
            key.ltk.value = bytes(16)
            await thief.device.keystore.update(name, key)
            await came_to(thief.encrypt())
            ensure(not await came_to(thief.begin(sent)), "was let in")
            ensure(collector.count("note DeskLinked") == 0, collector.lines)
            living.cancel()
            await all_heard_since(collector, sensor, links, 20)
            heard = len(collector.records())
    return f"not found, not answered, not paired, left after ten seconds; {heard} readings meanwhile over the same link"


async def settings_fuzz(seed):
    """Hostile commands of the phone, hostile packets of it and of a stranger, while the sensor is heard."""
    async with Scene(seed) as scene:
        sensor, rng = await worn(scene, 20), scene.rng
        phone, stranger = await scene.phone(), await scene.phone(address=STRANGER)
        message = await scene.settings(low_limit(75))
        async with scene.collector("pair", "desk") as collector:
            await collector.until(lambda: collector.count("note Linked(Sensor") == 1)
            links, living = sensor.connected, asyncio.ensure_future(lives(sensor, 25))
            await phone.connect()
            await phone.pair()
            await phone.send(message)
            sent = 0
            for round in range(6):
                who = phone if round % 2 == 0 else stranger
                if who.link is None:
                    await who.connect()
                    if who is phone:
                        await phone.encrypt()
                for _ in range(100):
                    if who.link is None:
                        break
                    sent += 1
                    await hostile_phone(who, message, rng)
                    ensure(collector.alive(), "alive")
                await who.leave()
                ensure(collector.alive(), "alive")
            await phone.connect()
            await phone.encrypt()
            ensure(await phone.read() == message, "as it was")
            ensure(collector.count("note PairingFailed") == 0, "no pairing was even begun")
            other = await scene.settings(low_limit(80))
            await phone.send(other)
            ensure(await phone.read() == other, "and still to be changed")
            living.cancel()
            await all_heard_since(collector, sensor, links, 20)
            heard = len(collector.records())
    return f"{sent} hostile commands and packets: settings as they were; {heard} readings meanwhile over the same link"


async def hostile_phone(phone, message, rng):
    noise = bytes(rng.randrange(256) for _ in range(rng.randrange(24)))
    kind, link = rng.randrange(8), phone.link

    def raw(channel, data):
        phone.device.send_l2cap_pdu(link.handle, channel, data)

    try:
        if kind <= 2:  # commands that are none
            cut = rng.randrange(len(message))
            await asyncio.wait_for(phone.command(rng.choice([
                noise, b"\x01\x01" + noise, b"\x02" + noise, b"\x03", b"\x04" + noise, b"\x02\x00\x00" + message[:cut][:60]])), 5)
        elif kind == 3:
            raw(4, b"")
        elif kind == 4:  # requests cut short, and those that are not offered
            raw(4, bytes([rng.choice([0x04, 0x06, 0x08, 0x0A, 0x0C, 0x0E, 0x10, 0x16, 0x18, 0x52, 0xD2, 0x7F])]) + noise[:2])
        elif kind == 5:
            raw(4, b"\x10\x01\x00\xff\xff" + bytes(16))
        elif kind == 6:  # pairing, and what a sensor would say
            raw(*rng.choice([(6, b"\x01\x04\x00\x0d\x10\x0f\x0f"), (6, noise), (5, noise), (4, b"\x1b\x10\x00" + noise)]))
        else:
            raw(rng.choice([0x3A, 0x40, 0x41]), noise)
    except (Refused, ProtocolError, asyncio.TimeoutError, asyncio.CancelledError):
        pass
    await asyncio.sleep(0.002)


async def lost_key(seed):
    """A sensor that has lost its key: not believed until the wearer asks for it, then paired anew, with the count it had."""
    async with Scene(seed) as scene:
        keys = MemoryKeyStore()
        sensor = scene.sensor(keys=keys)
        fill(sensor, 5, 100)
        await sensor.begin()
        async with scene.collector("pair", "sensor") as collector:
            await collector.until(lambda: len(collector.records()) == 20)
            await collector.until(lambda: any("below: 101" in line for line in collector.lines))
        await scene.reopen()
        kept = dict(keys.all_keys)
        sensor.device.keystore = MemoryKeyStore()
        fill(sensor, 105, 150)
        async with scene.collector() as collector:
            await collector.until(lambda: collector.count("note Refused(Sensor, NoKey)") >= 2)
            ensure(not collector.records() and collector.count("same?") == 0, "nobody was asked, nothing was read")
        await scene.reopen()
        # a new one is wanted: this is not a new one
        async with scene.collector("pair", "sensor") as collector:
            await asyncio.sleep(2)
            ensure(collector.count("note") == 0 and not collector.records(), collector.lines)
        await scene.reopen()
        # who has the address, and in pairing says to be another, is none of the wearer's
        as_ever = sensor.device.pairing_config_factory
        sensor.device.pairing_config_factory = lambda _: PairingConfig(
            sc=True, mitm=True, bonding=True, delegate=sensor.wearer,
            identity_address_type=PairingConfig.AddressType.PUBLIC)
        async with scene.collector("pair", "again") as collector:
            await collector.until(lambda: collector.count("note Refused(Sensor, Stranger)") >= 1)
            ensure(collector.count("note Paired") == 0 and not collector.records(), "nothing was read")
        sensor.device.pairing_config_factory, sensor.device.keystore = as_ever, MemoryKeyStore()
        await scene.reopen()
        # digits that are not the same: what was stays, and with its key the sensor is known as before
        async with scene.collector("pair", "again", "same", "no") as collector:
            await collector.until(lambda: collector.count("note PairingFailed") >= 1)
            ensure(not collector.records(), "nothing was read")
        sensor.device.keystore.all_keys = dict(kept)
        await scene.reopen()
        async with scene.collector() as collector:
            await collector.until(lambda: len(collector.records()) == 10)
            await collector.until(lambda: any("below: 151" in line for line in collector.lines))
        sensor.device.keystore = MemoryKeyStore()
        fill(sensor, 155, 200)
        await scene.reopen()
        async with scene.collector("pair", "again") as collector:
            await collector.until(lambda: collector.count("note Paired(Sensor, Authenticated)") == 1)
            await collector.until(lambda: len(collector.records()) == 10)
            [asked] = [line for line in collector.lines if line.startswith("same?")]
            ensure(asked == f"same? {sensor.wearer.compared:06}", asked)
            await asyncio.sleep(0.5)
            ensure(collector.records() == list(range(155, 201, 5)), "only what was missed:", collector.records())
            await collector.until(lambda: any("below: 201" in line for line in collector.lines))
        fill(sensor, 205, 250)
        await scene.reopen()
        async with scene.collector() as collector:
            await collector.until(lambda: len(collector.records()) == 10)
            ensure(collector.count("note Paired") == 0 and collector.count("same?") == 0, "its new key is kept")
    return "refused without the wearer's word, and with other digits; then paired anew, 10 missed records and none twice"


async def unheard(seed):
    """What the wrist's screens show while no sensor is listened to: which is refused, and what to do."""
    async with Scene(seed) as scene:
        folder = Path(scene.folder.name) / "screens"
        folder.mkdir()
        names = ["no-sensor", "pairing-open", "pairing-failed", "no-digits", "key-lost", "another"]

        async def shown():
            """Which of those that tell it."""
            told = []
            for name in names:
                process = await asyncio.create_subprocess_exec(
                    args.collector, "shows", str(folder), f"unheard-{name}", stderr=asyncio.subprocess.DEVNULL)
                told += [name] if await process.wait() == 0 else []
            return told

        async def comes_to(what, collector):
            end = time.monotonic() + 15
            while (told := await shown()) != what:
                ensure(time.monotonic() < end, told, "is shown and not", what, collector.lines[-10:])
                await asyncio.sleep(0.05)

        async def hide(peripheral):
            # once a link has ended it lets itself be found again by itself
            for _ in range(5):
                await asyncio.sleep(0.3)
                if peripheral.device.is_advertising:
                    await peripheral.device.stop_advertising()

        async def told(name, note, *options):
            async with scene.collector(*options, "screens", folder) as collector:
                if note:
                    await collector.until(lambda: collector.count(f"note {note}"))
                await comes_to([name], collector)
                ensure(not collector.records(), "nothing was read")
            await scene.reopen()

        other = scene.sensor(address=OTHER, io=DUMB)
        fill(other, 5, 20)
        await told("pairing-open", None, "pair", "sensor")
        await other.begin()
        await told("no-sensor", "Refused(Sensor, Stranger)")
        ensure(other.connected == 0, "no link")
        await told("no-digits", "Refused(Sensor, Unsure)", "pair", "sensor")
        await hide(other)
        sensor = scene.sensor(keys=MemoryKeyStore())
        fill(sensor, 5, 20)
        await sensor.begin()
        await told("pairing-failed", "PairingFailed(New(Sensor))", "pair", "sensor", "same", "no")
        async with scene.collector("pair", "sensor", "screens", folder) as collector:
            await collector.until(lambda: any("below: 21" in line for line in collector.lines))
            await comes_to([], collector)
        await scene.reopen()
        await hide(sensor)
        await other.device.start_advertising(auto_restart=True)
        await told("another", "Refused(Sensor, Stranger)")
        # its own is no other's, and what is known of it comes first
        kept, sensor.device.keystore = sensor.device.keystore, MemoryKeyStore()
        fill(sensor, 25, 40)
        await sensor.device.start_advertising(auto_restart=True)
        async with scene.collector("screens", folder) as collector:
            await collector.until(lambda: collector.count("note Refused(Sensor, NoKey)"))
            strangers = collector.count("note Refused(Sensor, Stranger)")
            await collector.until(lambda: collector.count("note Refused(Sensor, Stranger)") > strangers)
            await comes_to(["key-lost"], collector)
            ensure(not collector.records(), "nothing was read")
        await scene.reopen()
        await told("key-lost", "PairingFailed(Again(Sensor))", "pair", "again", "same", "no")
        sensor.device.keystore = kept
        # a link that breaks off before it is encrypted says nothing of a key

        def leave(connection):
            asyncio.ensure_future(connection.disconnect())

        sensor.device.on("connection", leave)
        async with scene.collector("screens", folder) as collector:
            await collector.until(lambda: collector.count("note Trouble"))
            ensure(collector.count("note Refused(Sensor, NoKey)") == 0, collector.lines)
        sensor.device.remove_listener("connection", leave)
        await scene.reopen()
        async with scene.collector("screens", folder) as collector:
            await collector.until(lambda: len(collector.records()) == 4)
            await comes_to([], collector)
    return f"{len(names)} reasons on the screens of three displays, each gone once the sensor is listened to"


SCENARIOS = [compared, passkey, just_works, restart, stranger, replaced, again, starts, burst, liar, clock, octets, fuzz,
             meter, day, day_disturbed, settings, settings_refused, settings_stranger, settings_fuzz, lost_key,
             unheard, duty]


async def run(scenario, seed):
    began = time.monotonic()
    said = await asyncio.wait_for(scenario(seed), 150)
    took = time.monotonic() - began
    print(f"ok   {scenario.__name__:14} seed {seed:3}  {took:5.1f} s  {said}", flush=True)
    return took


async def main():
    failed, times, gate = [], {}, asyncio.Semaphore(args.jobs)
    chosen = [scenario for scenario in [*SCENARIOS, drops] if args.only in (None, scenario.__name__)]

    async def one(scenario, seed):
        async with gate:  # each has an air of its own
            try:
                took = await run(scenario, seed)
                ensure(scenario is not drops or took < 60, "longer than a minute")
                times.setdefault(scenario.__name__, []).append(took)
            except Exception:
                failed.append((scenario.__name__, seed))
                print(f"FAIL {scenario.__name__} seed {seed}", flush=True)
                traceback.print_exc()

    def seeds(scenario):
        return range(args.first, args.first + args.runs) if scenario is drops or args.only else [args.first]

    await asyncio.gather(*(one(scenario, seed) for scenario in chosen for seed in seeds(scenario)))
    if took := sorted(times.get("drops", [])):
        print(f"{len(took)} runs with drops: {took[len(took) // 2]:.1f} s in the middle, {took[-1]:.1f} s at most")
    passed = sum(map(len, times.values()))
    print(f"counts: {passed} passed, {len(failed)} failed {failed or ''}")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("collector")
    parser.add_argument("golden")
    parser.add_argument("out")
    parser.add_argument("--runs", type=int, default=5, help="runs with ten drops")
    parser.add_argument("--jobs", type=int, default=3, help="so many at a time: most of the time they wait")
    parser.add_argument("--first", type=int, default=1, help="the first one's seed")
    parser.add_argument("--only")
    parser.add_argument("--bless", action="store_true", help="keeps what was counted")
    parser.add_argument("--verbose", action="store_true")
    args = parser.parse_args()
    logging.disable(logging.ERROR)  # bumble tells of each link that went
    sys.exit(asyncio.run(main()))
