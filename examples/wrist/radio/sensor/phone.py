"""A phone or desk that brings settings to the wrist by radio and reads them back, written apart from the wrist's own code.

    python phone.py TRANSPORT pair             once, while the wearer asks for it on the wrist
    python phone.py TRANSPORT send FRAME       what `wrist-desk settings FILE.toml FRAME` wrote
    python phone.py TRANSPORT read OUT         the message in force

TRANSPORT is one of bumble's, such as usb:0 for an adapter. The key of the pairing lies in a file beside this one.
"""

import asyncio
import struct
import sys
from pathlib import Path

from bumble.att import ATT_Error
from bumble.controller import Controller
from bumble.core import AdvertisingData, UUID
from bumble.device import Device, Peer
from bumble.hci import Address
from bumble.host import Host
from bumble.keys import JsonKeyStore, MemoryKeyStore
from bumble.pairing import PairingConfig, PairingDelegate
from bumble.transport import open_transport
from bumble.transport.common import AsyncPipeSink

from sensor import crc, plain

VERSION = 1
SERVICE, COMMAND, STATE, MESSAGE, WORDS = (UUID(f"5b0b{n:02x}ca-3348-4363-a055-6e543b164e03") for n in range(5))
FAULTS = {0x80: "malformed", 0x81: "version", 0x82: "length", 0x83: "out of turn", 0x84: "damaged", 0x85: "refused",
          0x86: "not kept", 0x05: "not trusted"}


class Refused(Exception):
    """What the wrist answered to a command."""

    def __init__(self, code):
        super().__init__(FAULTS.get(code, hex(code)))
        self.code = code


def unstuffed(data):
    """A frame of the wrist's line: COBS undone, checksum off; its number and payload."""
    out, place = bytearray(), 0
    while place < len(data):
        code = data[place]
        out += data[place + 1 : place + code]
        place += code
        if code < 255 and place < len(data):
            out.append(0)
    return struct.unpack("<H", out[:2])[0], bytes(out[2:-2])


class Phone:
    """One phone or desk, and its link to the wrist."""

    def __init__(self, device, delegate, keys):
        self.device, self.wearer, self.link, self.peer = device, delegate, None, None
        self.device.keystore = keys
        self.device.pairing_config_factory = lambda _: PairingConfig(
            sc=True, mitm=True, bonding=True, delegate=delegate, identity_address_type=PairingConfig.AddressType.RANDOM)

    @classmethod
    def virtual(cls, air, address, delegate, keys=None):
        """On a virtual radio."""
        controller = plain(Controller("phone", link=air.link, public_address=address))
        device = Device(address=Address(address, Address.RANDOM_DEVICE_ADDRESS),
                        host=Host(controller, AsyncPipeSink(controller)))
        phone = cls(device, delegate, keys or MemoryKeyStore())
        phone.controller = controller
        return phone

    async def find(self, seconds=30):
        """The address of a wrist that lets itself be found."""
        found = asyncio.get_running_loop().create_future()

        def seen(advertisement):
            listed = advertisement.data.get(AdvertisingData.COMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS) or []
            if SERVICE in listed and not found.done():
                found.set_result(advertisement.address)

        self.device.on("advertisement", seen)
        await self.device.start_scanning(legacy=True, filter_duplicates=False)
        try:
            return await asyncio.wait_for(found, seconds)
        finally:
            self.device.remove_listener("advertisement", seen)
            await self.device.stop_scanning(legacy=True)

    async def connect(self, mtu=100):
        self.link = await self.device.connect(await self.find())
        self.link.on("disconnection", self.gone)
        self.peer = Peer(self.link)
        if mtu:
            await self.peer.request_mtu(mtu)
        [service] = await self.peer.discover_service(SERVICE)
        await service.discover_characteristics()
        self.at = {it.uuid: it for it in service.characteristics}

    async def pair(self):
        await self.link.pair()

    async def encrypt(self):
        """With the key of the pairing."""
        await self.link.encrypt()

    def gone(self, _reason):
        self.link = None

    async def leave(self):
        if self.link is not None:
            try:
                await asyncio.wait_for(self.link.disconnect(), 3)
            except Exception:  # it went by itself
                pass
            self.link = None

    async def command(self, *parts):
        try:
            await self.at[COMMAND].write_value(b"".join(parts), with_response=True)
        except ATT_Error as error:
            raise Refused(error.error_code) from None

    async def value(self, uuid):
        try:
            return await self.at[uuid].read_value()
        except ATT_Error as error:
            raise Refused(error.error_code) from None

    async def begin(self, message, version=VERSION):
        await self.command(bytes([1, version]), struct.pack("<H", len(message)), crc(message))

    async def part(self, message, offset):
        """The next part; where the one behind it begins."""
        some = message[offset : offset + self.peer.gatt_client.mtu - 6]
        await self.command(b"\x02", struct.pack("<H", offset), some)
        return offset + len(some)

    async def send(self, message):
        """The whole: it is in force when this returns."""
        await self.begin(message)
        offset = 0
        while offset < len(message):
            offset = await self.part(message, offset)
        await self.command(b"\x03")

    async def state(self):
        """Version, whether settings were kept, their name, how long the message in force is, the longest, how much came."""
        return struct.unpack("<BBIHHH", await self.value(STATE))

    async def words(self):
        return (await self.value(WORDS)).decode()

    async def read(self):
        """The message in force, checked by its own checksum."""
        import zlib

        length, message = (await self.state())[3], b""
        while len(message) < length:
            await self.command(b"\x04", struct.pack("<H", len(message)))
            some = await self.value(MESSAGE)
            assert some, "the message ends before its length"
            message += some
        assert zlib.crc32(message[:-4]) == struct.unpack("<I", message[-4:])[0], "another came in the meantime"
        return message


class Asks(PairingDelegate):
    """Digits on this side's screen."""

    def __init__(self):
        super().__init__(io_capability=PairingDelegate.DISPLAY_OUTPUT_AND_YES_NO_INPUT)

    async def compare_numbers(self, number, digits):
        answer = await asyncio.to_thread(input, f"the same on the wrist: {number:0{digits}}? yes or no: ")
        return answer.strip() == "yes"


async def main(transport, what, *file):
    async with await open_transport(transport) as hci:
        device = Device.with_hci("phone", Address("F3:1A:2B:3C:4D:5E"), hci.source, hci.sink)
        keys = JsonKeyStore(None, str(Path(__file__).with_name("phone.keys.json")))
        phone = Phone(device, Asks(), keys)
        await device.power_on()
        await phone.connect()
        if what == "pair":
            await phone.pair()
            print("paired")
        elif what == "send":
            number, message = unstuffed(Path(file[0]).read_bytes().rstrip(b"\0"))
            assert number == 2, "no settings: see `wrist-desk settings`"
            await phone.encrypt()
            try:
                await phone.send(message)
            finally:
                print(await phone.words())
        elif what == "read":
            await phone.encrypt()
            Path(file[0]).write_bytes(await phone.read())
            print("{3} octets".format(*await phone.state()))
        await phone.leave()


if __name__ == "__main__":
    if len(sys.argv) < 3 or sys.argv[2] not in ("pair", "send", "read"):
        sys.exit(__doc__)
    asyncio.run(main(*sys.argv[1:]))
