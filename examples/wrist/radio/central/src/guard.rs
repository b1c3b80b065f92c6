//! A controller whose peers cannot bring the host down.
//!
//! trouble-host 0.8.0 takes some packets for as long as they should be: an empty attribute packet, a write command without
//! a handle, a list whose items are shorter than their head. Of any peer, paired or not, they end in a panic. Fixed
//! channels are looked through here, before the host sees them. On a link that this side began, what is no well-formed answer,
//! notification or pairing command is put aside; on one that the other side began, what is no well-formed request, and any
//! pairing command unless the wearer asked for a pairing: the host has one pairing at a time, and a stranger's would keep
//! the sensor from its own.

use bt_hci::controller::{Controller, ControllerCmdAsync, ControllerCmdSync};
use bt_hci::data::{AclBroadcastFlag, AclPacket, AclPacketBoundary, IsoPacket, SyncPacket};
use bt_hci::event::le::{LeConnectionComplete, LeEnhancedConnectionComplete, LeEventKind, LeEventPacket};
use bt_hci::event::{EventKind, EventPacket};
use bt_hci::param::{ConnHandle, LeConnRole};
use bt_hci::{ControllerToHostPacket, FromHciBytes, cmd};
use core::cell::Cell;
use embedded_io::ErrorType;

/// What is handed on instead: a whole and empty packet on a channel that nobody uses, which the host drops.
const NOBODYS: [u8; 4] = [0, 0, 0x3A, 0];

/// What is let through of a link that the other side began.
#[derive(Debug, Default)]
pub struct Doors {
    /// That link.
    theirs: Cell<Option<ConnHandle>>,
    /// Whether it may pair.
    pairing: Cell<bool>,
}

impl Doors {
    /// Closed.
    #[must_use]
    pub const fn new() -> Self {
        Self { theirs: Cell::new(None), pairing: Cell::new(false) }
    }

    /// Whether pairing commands are let through.
    pub fn open(&self, pairing: bool) {
        self.pairing.set(pairing);
    }

    /// Takes note of a link and who began it.
    fn see(&self, event: &EventPacket<'_>) {
        if event.kind != EventKind::Le {
            return;
        }
        let Ok(event) = LeEventPacket::from_hci_bytes_complete(event.data) else { return };
        let link = match event.kind {
            LeEventKind::LeConnectionComplete => {
                LeConnectionComplete::from_hci_bytes_complete(event.data).ok().map(|it| (it.handle, it.role))
            }
            LeEventKind::LeEnhancedConnectionComplete => {
                LeEnhancedConnectionComplete::from_hci_bytes_complete(event.data)
                    .ok()
                    .map(|it| (it.handle, it.role))
            }
            _ => None,
        };
        match link {
            Some((handle, LeConnRole::Peripheral)) => self.theirs.set(Some(handle)),
            // the number of a link that was may be another's now
            Some((handle, LeConnRole::Central)) if self.theirs.get() == Some(handle) => self.theirs.set(None),
            _ => {}
        }
    }

    fn lets_through(&self, handle: ConnHandle, boundary: AclPacketBoundary, data: &[u8]) -> bool {
        if self.theirs.get() == Some(handle) {
            is_request(boundary, data, self.pairing.get())
        } else {
            is_fit(boundary, data)
        }
    }
}

/// The guarded controller.
#[derive(Debug)]
pub struct Guard<'d, C> {
    /// The controller.
    pub controller: C,
    /// What is let through.
    pub doors: &'d Doors,
}

/// Whether the host may see a packet, or the first part of one, of a link that it began.
fn is_fit(boundary: AclPacketBoundary, data: &[u8]) -> bool {
    if !is_first(boundary) {
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

/// The same of a link that the other side began.
fn is_request(boundary: AclPacketBoundary, data: &[u8], may_pair: bool) -> bool {
    if !is_first(boundary) {
        return true;
    }
    let [low, high, channel, 0, rest @ ..] = data else { return false };
    let length = u16::from_le_bytes([*low, *high]);
    match (*channel, rest) {
        (4, [code, rest @ ..]) => request(*code, rest, length),
        (6, [code, ..]) => may_pair && pairing(*code) == Some(length),
        _ => false,
    }
}

const fn is_first(boundary: AclPacketBoundary) -> bool {
    matches!(boundary, AclPacketBoundary::FirstFlushable | AclPacketBoundary::FirstNonFlushable)
}

/// Lengths of what a client asks (Bluetooth Core, vol. 3 part F 3.4, from memory). Groups are asked for by numbers of 16 bits
/// only: of longer ones the host reads beyond their end. Several values at once, and what needs no answer, are not offered.
fn request(code: u8, rest: &[u8], length: u16) -> bool {
    match code {
        // never shorter than packets are without being asked
        0x02 => length == 3 && matches!(rest, [low, high] if u16::from_le_bytes([*low, *high]) >= 23),
        0x04 | 0x0C => length == 5,
        0x06 => length >= 7,
        0x08 => length == 7 || length == 21,
        0x0A => length == 3,
        0x10 => length == 7,
        0x12 => length >= 3,
        0x1E => length == 1,
        _ => false,
    }
}

/// The same of what a server sends, and of a client's wish for longer packets.
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

impl<C: ErrorType> ErrorType for Guard<'_, C> {
    type Error = C::Error;
}

impl<C: Controller> Controller for Guard<'_, C> {
    type Buffer<'a> = C::Buffer<'a>;

    fn alloc_buf(&self) -> Result<Self::Buffer<'_>, Self::Error> {
        self.controller.alloc_buf()
    }

    async fn write_acl_data(&self, packet: &AclPacket<'_>) -> Result<(), Self::Error> {
        self.controller.write_acl_data(packet).await
    }

    async fn write_sync_data(&self, packet: &SyncPacket<'_>) -> Result<(), Self::Error> {
        self.controller.write_sync_data(packet).await
    }

    async fn write_iso_data(&self, packet: &IsoPacket<'_>) -> Result<(), Self::Error> {
        self.controller.write_iso_data(packet).await
    }

    async fn read<'a>(
        &self,
        buf: &'a mut Self::Buffer<'_>,
    ) -> Result<ControllerToHostPacket<'a>, Self::Error> {
        Ok(match self.controller.read(buf).await? {
            ControllerToHostPacket::Acl(acl)
                if !self.doors.lets_through(acl.handle(), acl.boundary_flag(), acl.data()) =>
            {
                ControllerToHostPacket::Acl(AclPacket::new(
                    acl.handle(),
                    AclPacketBoundary::FirstFlushable,
                    AclBroadcastFlag::PointToPoint,
                    &NOBODYS,
                ))
            }
            ControllerToHostPacket::Event(event) => {
                self.doors.see(&event);
                ControllerToHostPacket::Event(event)
            }
            packet => packet,
        })
    }
}

impl<C: ControllerCmdSync<M>, M: cmd::SyncCmd + ?Sized> ControllerCmdSync<M> for Guard<'_, C> {
    async fn exec(&self, cmd: &M) -> Result<M::Return, cmd::Error<Self::Error>> {
        self.controller.exec(cmd).await
    }
}

impl<C: ControllerCmdAsync<M>, M: cmd::AsyncCmd + ?Sized> ControllerCmdAsync<M> for Guard<'_, C> {
    async fn exec(&self, cmd: &M) -> Result<(), cmd::Error<Self::Error>> {
        self.controller.exec(cmd).await
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
    #[test]
    fn of_a_phone_or_desk_only_requests_come_through_and_pairing_only_when_it_was_asked_for() {
        let fit = |bytes: &[u8]| is_request(FirstFlushable, bytes, false);
        for good in [
            &[3, 0, 4, 0, 2, 23, 0][..],        // longer packets
            &[5, 0, 4, 0, 4, 1, 0, 0xFF, 0xFF], // find
            &[9, 0, 4, 0, 6, 1, 0, 0xFF, 0xFF, 0, 0x28],
            &[7, 0, 4, 0, 8, 1, 0], // read by type, its first part
            &[21, 0, 4, 0, 8, 1, 0],
            &[3, 0, 4, 0, 0x0A, 16, 0],
            &[5, 0, 4, 0, 0x0C, 16, 0, 20, 0],
            &[7, 0, 4, 0, 0x10, 1, 0, 0xFF, 0xFF, 0, 0x28],
            &[9, 0, 4, 0, 0x12, 16, 0, 1, 1, 79, 1, 0, 0],
            &[1, 0, 4, 0, 0x1E],
        ] {
            assert!(fit(good), "{good:x?}");
            let less = u16::from_le_bytes([good[0], good[1]]) - 1;
            let [low, high] = less.to_le_bytes();
            let shorter = [&[low, high], &good[2..]].concat();
            assert!(matches!(good[4], 6 | 0x12) || !fit(&shorter), "{good:x?}");
        }
        for bad in [
            &[][..],
            &[0, 0, 4, 0],
            &[3, 0, 4, 0, 2, 22, 0], // packets of nothing
            &[3, 0, 4, 0, 2],
            &[2, 0, 4, 0, 0x12, 16], // no handle
            &[6, 0, 4, 0, 6, 1, 0],
            &[21, 0, 4, 0, 0x10, 1, 0], // a group by a long number
            &[1, 0, 4, 0, 0x0E],        // several values
            &[5, 0, 4, 0, 0x16, 1, 0],  // written in parts
            &[2, 0, 4, 0, 0x18, 1],
            &[4, 0, 4, 0, 0x52, 16, 0, 1], // that needs no answer
            &[15, 0, 4, 0, 0xD2, 16, 0],
            &[4, 0, 4, 0, 0x1B, 16, 0, 1], // a server's
            &[5, 0, 4, 0, 1, 8, 1],
            &[4, 0, 5, 0, 0x12, 1, 0, 0], // a signal
            &[7, 0, 6, 0, 1],             // pairing
            &[1, 0, 0x40, 0, 1],
        ] {
            assert!(!fit(bad), "{bad:x?}");
        }
        assert!(is_request(FirstFlushable, &[7, 0, 6, 0, 1], true), "asked for");
        assert!(!is_request(FirstFlushable, &[6, 0, 6, 0, 1], true), "and whole");
        assert!(is_request(Continuing, &[], false));
    }

    #[test]
    fn who_began_a_link_decides() {
        let doors = Doors::new();
        let (ours, theirs) = (ConnHandle::new(1), ConnHandle::new(2));
        // LE connection complete: status, handle, role, kind and address, interval, latency, timeout, accuracy
        let link =
            |handle: u8, role: u8| [1, 0, handle, 0, role, 1, 1, 2, 3, 4, 5, 0xC6, 24, 0, 0, 0, 100, 0, 0];
        let see = |bytes: &[u8]| doors.see(&EventPacket { kind: EventKind::Le, data: bytes });
        let (answer, question) = ([1, 0, 4, 0, 0x13], [3, 0, 4, 0, 0x0A, 16, 0]);
        let through = |handle, bytes: &[u8]| doors.lets_through(handle, FirstFlushable, bytes);
        see(&link(1, 0));
        see(&link(2, 1));
        assert!(through(ours, &answer) && !through(ours, &question));
        assert!(!through(theirs, &answer) && through(theirs, &question));
        let pairing = [7, 0, 6, 0, 1];
        assert!(!through(theirs, &pairing) && through(ours, &pairing));
        doors.open(true);
        assert!(through(theirs, &pairing));
        doors.open(false);
        assert!(!through(theirs, &pairing));
        // its number is another's now
        see(&link(2, 0));
        assert!(through(theirs, &answer) && !through(theirs, &question));
        see(&[1, 0]);
    }
}
