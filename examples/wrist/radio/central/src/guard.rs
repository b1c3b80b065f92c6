//! A controller whose peers cannot bring the host down.
//!
//! trouble-host 0.8.0 takes some packets for as long as they should be: an empty attribute packet, a write command without
//! a handle, a list whose items are shorter than their head. Of any peer, paired or not, they end in a panic. Fixed
//! channels are looked through here, before the host sees them: what is no well-formed answer, notification or pairing
//! command, or asks for attributes that a collector has not, is put aside.

use bt_hci::controller::{Controller, ControllerCmdAsync, ControllerCmdSync};
use bt_hci::data::{AclBroadcastFlag, AclPacket, AclPacketBoundary, IsoPacket, SyncPacket};
use bt_hci::{ControllerToHostPacket, cmd};
use embedded_io::ErrorType;

/// What is handed on instead: a whole and empty packet on a channel that nobody uses, which the host drops.
const NOBODYS: [u8; 4] = [0, 0, 0x3A, 0];

/// The guarded controller.
#[derive(Debug)]
pub struct Guard<C>(pub C);

/// Whether the host may see a packet, or the first part of one.
fn is_fit(boundary: AclPacketBoundary, data: &[u8]) -> bool {
    if !matches!(boundary, AclPacketBoundary::FirstFlushable | AclPacketBoundary::FirstNonFlushable) {
        return true; // of a packet that was fit, or the host refuses it
    }
    let [low, high, channel, 0, rest @ ..] = data else { return false };
    let length = u16::from_le_bytes([*low, *high]);
    match (*channel, rest) {
        (4, [code, item, ..]) => attribute(*code, Some(*item), length),
        (4, [code]) => attribute(*code, None, length),
        (5, _) => length >= 4,
        (6, [code, ..]) => pairing(*code) == Some(length),
        _ => false,
    }
}

/// Lengths of the Attribute Protocol (Bluetooth Core, vol. 3 part F 3.4, from memory), of what a server sends, and of a
/// client's wish for longer packets.
fn attribute(code: u8, item: Option<u8>, length: u16) -> bool {
    match code {
        0x01 => length == 5,
        0x02 | 0x03 => length == 3,
        0x05 => length >= 6,
        0x07 => length >= 5,
        // lists: a handle at least in each item, and in a group's its end too
        0x09 => length >= 4 && item.is_some_and(|item| item >= 2),
        0x11 => length >= 6 && item.is_some_and(|item| item >= 4),
        0x0B | 0x0D => true,
        0x13 => length == 1,
        0x1B | 0x1D => length >= 3,
        _ => false,
    }
}

/// Lengths of the pairing commands (Bluetooth Core, vol. 3 part H 3.3, from memory).
const fn pairing(code: u8) -> Option<u16> {
    Some(match code {
        0x01 | 0x02 => 7,
        0x03 | 0x04 | 0x06 | 0x08 | 0x0A | 0x0D => 17,
        0x05 | 0x0B | 0x0E => 2,
        0x07 => 11,
        0x09 => 8,
        0x0C => 65,
        _ => return None,
    })
}

impl<C: ErrorType> ErrorType for Guard<C> {
    type Error = C::Error;
}

impl<C: Controller> Controller for Guard<C> {
    type Buffer<'a> = C::Buffer<'a>;

    fn alloc_buf(&self) -> Result<Self::Buffer<'_>, Self::Error> {
        self.0.alloc_buf()
    }

    async fn write_acl_data(&self, packet: &AclPacket<'_>) -> Result<(), Self::Error> {
        self.0.write_acl_data(packet).await
    }

    async fn write_sync_data(&self, packet: &SyncPacket<'_>) -> Result<(), Self::Error> {
        self.0.write_sync_data(packet).await
    }

    async fn write_iso_data(&self, packet: &IsoPacket<'_>) -> Result<(), Self::Error> {
        self.0.write_iso_data(packet).await
    }

    async fn read<'a>(
        &self,
        buf: &'a mut Self::Buffer<'_>,
    ) -> Result<ControllerToHostPacket<'a>, Self::Error> {
        Ok(match self.0.read(buf).await? {
            ControllerToHostPacket::Acl(acl) if !is_fit(acl.boundary_flag(), acl.data()) => {
                ControllerToHostPacket::Acl(AclPacket::new(
                    acl.handle(),
                    AclPacketBoundary::FirstFlushable,
                    AclBroadcastFlag::PointToPoint,
                    &NOBODYS,
                ))
            }
            packet => packet,
        })
    }
}

impl<C: ControllerCmdSync<M>, M: cmd::SyncCmd + ?Sized> ControllerCmdSync<M> for Guard<C> {
    async fn exec(&self, cmd: &M) -> Result<M::Return, cmd::Error<Self::Error>> {
        self.0.exec(cmd).await
    }
}

impl<C: ControllerCmdAsync<M>, M: cmd::AsyncCmd + ?Sized> ControllerCmdAsync<M> for Guard<C> {
    async fn exec(&self, cmd: &M) -> Result<(), cmd::Error<Self::Error>> {
        self.0.exec(cmd).await
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use AclPacketBoundary::{Continuing, FirstFlushable, FirstNonFlushable};

    #[test]
    fn what_would_be_read_beyond_its_end_is_put_aside() {
        let fit = |bytes: &[u8]| is_fit(FirstFlushable, bytes);
        for good in [
            &[3, 0, 4, 0, 0x1B, 16, 0][..],  // a notification
            &[9, 0, 4, 0, 0x1B],             // its first part
            &[5, 0, 4, 0, 1, 8, 1, 0, 0x0A], // an error
            &[1, 0, 4, 0, 0x13],             // written
            &[1, 0, 4, 0, 0x0B],             // an empty value
            &[9, 0, 4, 0, 9, 7],             // a list
            &[4, 0, 5, 0, 1, 1, 0, 0],       // a signal
            &[65, 0, 6, 0, 0x0C, 1],         // a public key
            &[2, 0, 6, 0, 5, 4],             // pairing failed
        ] {
            assert!(fit(good), "{good:x?}");
            assert!(is_fit(FirstNonFlushable, good));
        }
        for bad in [
            &[][..],
            &[1, 0, 4],
            &[0, 0, 4, 0], // no attribute packet at all
            &[0, 0, 4, 0, 0x1B],
            &[2, 0, 4, 0, 0x1B, 16],         // half a handle
            &[2, 0, 4, 0, 0x52, 1],          // a write command without a handle
            &[5, 0, 4, 0, 0x12, 1, 0, 0, 0], // asks of us what we have not
            &[2, 0, 4, 0, 9, 1],
            &[9, 0, 4, 0, 9, 1, 0, 0], // items shorter than their head
            &[9, 0, 4, 0, 0x11, 3, 0, 0],
            &[9, 0, 4, 0, 9],
            &[0, 0, 5, 0],
            &[0, 0, 6, 0],
            &[1, 0, 6, 0, 5],
            &[64, 0, 6, 0, 0x0C],
            &[1, 0, 6, 0, 0x0F],
            &[1, 0, 0x40, 0, 1], // a channel that was never opened
            &[1, 0, 4, 1, 0x13],
        ] {
            assert!(!fit(bad), "{bad:x?}");
        }
        assert!(is_fit(Continuing, &[]));
        assert!(!fit(&NOBODYS), "and the host drops it");
    }
}
