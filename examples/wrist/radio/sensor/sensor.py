"""An invented continuous glucose sensor and a meter on a virtual radio, written apart from the collector.

Nothing of the wrist is used here: numbers, flags, checksum and procedures are written anew from the services' names for
them (Bluetooth SIG, Continuous Glucose Monitoring Service and Glucose Service; from memory). The radio is bumble's.
"""

import asyncio
import random
import struct

from bumble import l2cap
from bumble.att import ATT_Error
from bumble.controller import Controller
from bumble.core import UUID, AdvertisingData
from bumble.device import Device
from bumble.gatt import Characteristic, CharacteristicValue, Service
from bumble.hci import (
    Address, HCI_Command_Complete_Event, HCI_ErrorCode, HCI_StatusReturnParameters, LeFeatureMask)
from bumble.host import Host
from bumble.keys import MemoryKeyStore
from bumble.link import LocalLink
from bumble.pairing import PairingConfig, PairingDelegate
from bumble.transport.common import AsyncPipeSink
from bumble.transport.tcp_server import open_tcp_server_transport_with_socket

Read, Write, Notify, Indicate = (
    Characteristic.Properties.READ,
    Characteristic.Properties.WRITE,
    Characteristic.Properties.NOTIFY,
    Characteristic.Properties.INDICATE,
)
SAFE_READ = Characteristic.Permissions.READ_REQUIRES_ENCRYPTION
SAFE_WRITE = Characteristic.Permissions.WRITE_REQUIRES_ENCRYPTION


def crc(data: bytes) -> bytes:
    """CRC-16 with polynomial 0x1021 and both sides reflected, from 0xFFFF, bit by bit from the long division."""
    register = 0xFFFF
    for byte in data:
        for bit in range(8):
            out = (register & 1) ^ (byte >> bit & 1)
            register >>= 1
            if out:
                register ^= 0x8408
    return struct.pack("<H", register)


def plain(controller: Controller) -> Controller:
    """Without extended advertising, to scans of which bumble would answer with reports of the other kind."""
    controller.le_features = controller.le_features & ~LeFeatureMask.LE_EXTENDED_ADVERTISING
    return controller


def whole(controller: Controller) -> Controller:
    """With an answer to a command that bumble's controller leaves unanswered: its list resolves nothing anyway."""

    def answer(command):
        controller.send_hci_packet(HCI_Command_Complete_Event(
            num_hci_command_packets=1, command_opcode=command.op_code,
            return_parameters=HCI_StatusReturnParameters(HCI_ErrorCode.SUCCESS)))

    controller.on_hci_le_remove_device_from_resolving_list_command = answer
    return controller


class Air:
    """The virtual radio, and the port at which the collector's controller answers."""

    def __init__(self):
        self.link = LocalLink()
        self.port = None
        self.transport = None

    async def open(self):
        import socket

        self.socket = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        self.socket.bind(("127.0.0.1", 0))
        self.port = self.socket.getsockname()[1]
        self.transport = await open_tcp_server_transport_with_socket(self.socket)
        self.controller = whole(plain(
            Controller("collector", host_source=self.transport.source, host_sink=self.transport.sink, link=self.link,
                       public_address="00:00:00:00:00:00")
        ))

    async def close(self):
        await self.transport.close()


class Wearer(PairingDelegate):
    """What the sensor's own display and keys do in pairing."""

    def __init__(self, io, passkey=None, agrees=True):
        super().__init__(io_capability=io)
        self.passkey, self.agrees, self.compared = passkey, agrees, None

    async def compare_numbers(self, number, digits):
        self.compared = number
        return self.agrees

    async def generate_passkey(self):
        return self.passkey

    async def get_number(self):
        while self.passkey is None:
            await asyncio.sleep(0.02)
        return self.passkey


class Peripheral:
    """What a sensor and a meter have in common."""

    def __init__(self, air, address, wearer, rng=None, keys=None, public=False):
        self.rng = rng or random.Random(1)
        self.controller = plain(Controller("sensor", link=air.link, public_address=str(address)))
        self.device = Device(
            address=Address(address, Address.PUBLIC_DEVICE_ADDRESS if public else Address.RANDOM_DEVICE_ADDRESS),
            host=Host(self.controller, AsyncPipeSink(self.controller)),
        )
        self.device.keystore = keys or MemoryKeyStore()
        self.wearer = wearer
        self.device.pairing_config_factory = lambda connection: PairingConfig(
            sc=True, mitm=True, bonding=True, delegate=wearer, identity_address_type=PairingConfig.AddressType.RANDOM
        )
        self.connection = None
        self.encrypted = 0
        self.connected = 0
        self.device.on("connection", self._connected)

    def _connected(self, connection):
        self.connection = connection
        self.connected += 1
        connection.on("disconnection", self._disconnected)
        connection.on("connection_encryption_change", self._encryption)

    def _encryption(self):
        self.encrypted += 1

    def _disconnected(self, _reason):
        self.connection = None
        self.reporting = None

    async def begin(self, service):
        await self.device.power_on()
        self.device.advertising_data = bytes(
            AdvertisingData(
                [
                    (AdvertisingData.FLAGS, bytes([6])),
                    (AdvertisingData.COMPLETE_LIST_OF_16_BIT_SERVICE_CLASS_UUIDS, struct.pack("<H", service)),
                ]
            )
        )
        self.device.advertising_interval_min = self.device.advertising_interval_max = 20
        await self.device.start_advertising(auto_restart=True)

    async def drop(self):
        """The link is gone, at once."""
        if self.connection is not None:
            await self.connection.disconnect()

    async def notify(self, characteristic, value):
        if self.connection is not None:
            await self.device.notify_subscriber(self.connection, characteristic, value)

    def indicate(self, characteristic, value):
        async def send(connection):
            try:
                await self.device.indicate_subscriber(connection, characteristic, value)
            except Exception:  # the link went
                pass

        if self.connection is not None:
            self.tasks = getattr(self, "tasks", set())
            task = asyncio.ensure_future(send(self.connection))
            self.tasks.add(task)
            task.add_done_callback(self.tasks.discard)


class Sensor(Peripheral):
    """Records by their minute. `range_supported` off: knows only "from" and "all"."""

    def __init__(self, air, address, wearer, start, crc_on=True, range_supported=True, pace=0.0, interval=5,
                 drop_after=None, lose=0.0, lie=False, **more):
        super().__init__(air, address, wearer, **more)
        self.start_bytes, self.crc_on = start, crc_on
        self.range_supported, self.pace, self.interval = range_supported, pace, interval
        self.records = {}  # minute: payload without checksum
        self.offset = 0
        self.drop_after = list(drop_after or [])  # the link drops after so many more notifications, each
        self.lose, self.lie = lose, lie
        self.sent = self.lost = self.reports = self.drops = 0
        self.reporting = None
        self.stopped = False
        self.time = None

        def value(read=None, write=None):
            return CharacteristicValue(read=read, write=write)

        seal = self.seal
        self.measurement = Characteristic(UUID.from_16_bits(0x2AA7), Notify, SAFE_READ, b"")
        self.feature = Characteristic(
            UUID.from_16_bits(0x2AA8), Read, SAFE_READ, value(lambda _c: self.features()))
        self.status = Characteristic(
            UUID.from_16_bits(0x2AA9), Read, SAFE_READ, value(lambda _c: self.status_bytes()))
        self.start = Characteristic(
            UUID.from_16_bits(0x2AAA), Read | Write, SAFE_READ | SAFE_WRITE, value(lambda _c: seal(self.start_bytes)))
        self.run_time = Characteristic(
            UUID.from_16_bits(0x2AAB), Read, SAFE_READ, value(lambda _c: seal(struct.pack("<H", 240))))
        self.racp = Characteristic(
            UUID.from_16_bits(0x2A52), Write | Indicate, SAFE_WRITE, value(write=self.access))
        self.ops = Characteristic(
            UUID.from_16_bits(0x2AAC), Write | Indicate, SAFE_WRITE, value(write=self.operate))
        self.device.add_service(
            Service(UUID.from_16_bits(0x181F),
                    [self.measurement, self.feature, self.status, self.start, self.run_time, self.racp, self.ops]))
        self.now = Characteristic(
            UUID.from_16_bits(0x2A2B), Read, SAFE_READ, value(lambda _c: self.time_bytes()))
        self.device.add_service(Service(UUID.from_16_bits(0x1805), [self.now]))

    def seal(self, data):
        return data + crc(data) if self.crc_on else data

    def sealed(self, record):
        """A record with its checksum, which its size counts."""
        return self.seal(bytes([record[0] + 2]) + record[1:]) if self.crc_on else record

    def features(self):
        body = struct.pack("<I", 0x1000 if self.crc_on else 0)[:3] + bytes([0x59])
        return body + (crc(body) if self.crc_on else b"\xff\xff")

    def status_bytes(self):
        return self.seal(struct.pack("<H", self.offset) + bytes([1 if self.stopped else 0, 0, 0]))

    def time_bytes(self):
        return self.time or bytes(10)

    async def begin(self):
        await super().begin(0x181F)

    def store(self, minute, payload):
        self.records[minute] = payload
        self.offset = max(self.offset, minute)

    async def live(self, minute, payload):
        """A new record: stored, and told if anybody listens."""
        self.store(minute, payload)
        await self.tell(payload)

    async def tell(self, payload):
        """One notification, which may be lost, or be the last one of the link."""
        if self.connection is None:
            return False
        if self.rng.random() < self.lose:
            self.lost += 1
            return True
        await self.notify(self.measurement, self.sealed(payload))
        self.sent += 1
        if self.drop_after:
            self.drop_after[0] -= 1
            if self.drop_after[0] <= 0:
                self.drop_after.pop(0)
                self.drops += 1
                await self.drop()
                return False
        return True

    def operate(self, _connection, data):
        if self.crc_on:
            if crc(data[:-2]) != data[-2:]:
                raise ATT_Error(0x81)  # invalid checksum
            data = data[:-2]
        if data == b"\x02":
            self.indicate(self.ops, self.seal(bytes([3, self.interval])))
        elif data == b"\x1a":
            self.stopped = False
            self.offset = 0
            self.indicate(self.ops, self.seal(bytes([0x1C, 0x1A, 1])))
        else:
            self.indicate(self.ops, self.seal(bytes([0x1C, data[0], 2])))

    def access(self, connection, data):
        if data == b"\x03\x00":
            self.reporting = None
            return
        if self.reporting is not None and not self.reporting.done():
            raise ATT_Error(0xFE)  # a procedure is under way
        if data[:2] == b"\x01\x01":
            wanted = lambda minute: True
        elif data[:3] == b"\x01\x03\x01" and len(data) == 5:
            first = struct.unpack("<H", data[3:])[0]
            wanted = lambda minute: minute >= first
        elif data[:3] == b"\x01\x04\x01" and len(data) == 7 and self.range_supported:
            first, last = struct.unpack("<HH", data[3:])
            wanted = lambda minute: first <= minute <= last
        else:
            self.indicate(self.racp, b"\x06\x00\x01\x04")
            return
        self.reports += 1
        self.reporting = asyncio.ensure_future(self.report(wanted))

    async def report(self, wanted):
        minutes = [minute for minute in sorted(self.records) if wanted(minute)]
        if self.lie:
            minutes = minutes[::2]  # says it sent all
        for minute in minutes:
            if self.pace:
                await asyncio.sleep(self.pace)
            if not await self.tell(self.records[minute]):
                return
        self.indicate(self.racp, bytes([6, 0, 1, 1 if minutes else 6]))


class Meter(Peripheral):
    """Results by their sequence number."""

    def __init__(self, air, address, wearer, **more):
        super().__init__(air, address, wearer, **more)
        self.records = {}
        self.reporting = None
        self.result = Characteristic(UUID.from_16_bits(0x2A18), Notify, SAFE_READ, b"")
        self.feature = Characteristic(UUID.from_16_bits(0x2A51), Read, SAFE_READ, bytes(2))
        self.racp = Characteristic(
            UUID.from_16_bits(0x2A52), Write | Indicate, SAFE_WRITE, CharacteristicValue(write=self.access))
        self.device.add_service(Service(UUID.from_16_bits(0x1808), [self.result, self.feature, self.racp]))

    async def begin(self):
        await super().begin(0x1808)

    def access(self, _connection, data):
        if data[:2] == b"\x01\x01":
            first, last = 0, 65535
        elif data[:3] == b"\x01\x03\x01":
            first, last = struct.unpack("<H", data[3:5])[0], 65535
        elif data[:3] == b"\x01\x04\x01":
            first, last = struct.unpack("<HH", data[3:7])
        else:
            return

        async def report():
            some = [number for number in sorted(self.records) if first <= number <= last]
            for number in some:
                await self.notify(self.result, self.records[number])
            self.indicate(self.racp, bytes([6, 0, 1, 1 if some else 6]))

        self.reporting = asyncio.ensure_future(report())


def sfloat(value):
    """A whole number as a 16-bit float: mantissa of 12 bits, exponent 0."""
    return struct.pack("<H", value & 0x0FFF)


def record(minute, mg_dl):
    return bytes([6, 0]) + sfloat(mg_dl) + struct.pack("<H", minute)


def result(number, mg_dl, moment=(2026, 11, 2, 8, 0, 0)):
    """A fingerstick: 10⁻⁵ kg/L, capillary whole blood, finger."""
    year, *rest = moment
    value = struct.pack("<H", 0xB000 | mg_dl)
    return bytes([2]) + struct.pack("<HH", number, year) + bytes(rest) + value + b"\x11"
