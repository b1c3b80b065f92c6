//! What a scan saw of those who are looked for.

use crate::bond::address_of;
use bt_hci::param::LeAdvReportsIter;
use core::cell::{Cell, RefCell};
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_sync::signal::Signal;
use trouble_host::Address;
use trouble_host::prelude::{EventHandler, IdentityResolvingKey};
use wrist_collector::advert::offers;
use wrist_collector::collector::Kind;
use wrist_collector::kept::Kept;

/// Who is looked for, and who was seen. To be handed to the host's runner.
pub struct Seen {
    kept: RefCell<Kept>,
    /// A new one of this kind.
    new: Cell<Option<Kind>>,
    /// Not looked at again for now: an address that was refused.
    shunned: RefCell<heapless::Deque<Address, 4>>,
    found: Signal<NoopRawMutex, (Kind, Address)>,
    /// A sensor that nobody looks for was seen.
    stranger: Cell<bool>,
}

impl Default for Seen {
    fn default() -> Self {
        Self::new()
    }
}

impl Seen {
    /// Looks for nobody.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            kept: RefCell::new(Kept { sensor: None, meter: None, desk: None }),
            new: Cell::new(None),
            shunned: RefCell::new(heapless::Deque::new()),
            found: Signal::new(),
            stranger: Cell::new(false),
        }
    }

    /// From now on looks for those who are bonded, or for a new one of a kind: then the old one of that kind is passed
    /// over, for it may lie beside the new one and still be heard.
    pub fn look_for(&self, kept: &Kept, new: Option<Kind>) {
        self.kept.replace(*kept);
        self.new.set(new);
        self.found.reset();
    }

    /// Passes over this one; of several the newest four.
    pub fn shun(&self, address: Address) {
        let mut shunned = self.shunned.borrow_mut();
        if shunned.iter().any(|known| *known == address) {
            return;
        }
        if shunned.is_full() {
            shunned.pop_front();
        }
        let _ = shunned.push_back(address);
    }

    /// Passes over nobody.
    pub fn forgive(&self) {
        self.shunned.borrow_mut().clear();
    }

    /// The next one seen.
    pub async fn found(&self) -> (Kind, Address) {
        self.found.wait().await
    }

    /// Whether a sensor that is neither known nor looked for was seen since this was asked before.
    pub fn stranger(&self) -> bool {
        self.stranger.take()
    }

    fn wanted(&self, address: Address, data: &[u8]) -> Option<Kind> {
        let kept = self.kept.borrow();
        for (peer, kind) in [(kept.sensor, Kind::Sensor), (kept.meter, Kind::Meter)] {
            let Some(peer) = peer else { continue };
            let resolves = || {
                let key = peer.bond.resolving_key.and_then(IdentityResolvingKey::from_le_bytes);
                key.is_some_and(|key| key.resolve_address(&address.addr))
            };
            if address == address_of(&peer.bond) || resolves() {
                return Some(kind).filter(|kind| self.new.get() != Some(*kind));
            }
        }
        let new = self.new.get().filter(|kind| offers(data, kind.service()));
        self.stranger.set(self.stranger.get() || new.is_none() && offers(data, Kind::Sensor.service()));
        new
    }
}

impl EventHandler for Seen {
    fn on_adv_reports(&self, reports: LeAdvReportsIter) {
        for report in reports.filter_map(Result::ok) {
            let address = Address::new(report.addr_kind, report.addr);
            if self.shunned.borrow().iter().any(|shunned| *shunned == address) {
                continue;
            }
            if let Some(kind) = self.wanted(address, report.data) {
                self.found.signal((kind, address));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bt_hci::param::AddrKind;
    use wrist_collector::kept::{Peer, Settled};
    use wrist_collector::trust::Bond;

    fn peer(last: u8) -> (Peer, Address) {
        let address = [last, 2, 3, 4, 5, 0xC6];
        let bond = Bond { random: true, address, resolving_key: None, key: [7; 16], authenticated: true };
        (Peer { bond, settled: Settled::default() }, Address::random(address))
    }

    /// A list of services that holds one.
    fn offering(service: u16) -> [u8; 4] {
        let [low, high] = service.to_le_bytes();
        [3, 3, low, high]
    }

    #[test]
    fn the_bonded_are_looked_for_and_strangers_only_when_one_is_to_be_paired() {
        let ((sensor, its), (meter, meters)) = (peer(1), peer(2));
        let (seen, stranger) = (Seen::new(), Address::random([9, 2, 3, 4, 5, 0xC6]));
        let (cgm, glucose) = (offering(0x181F), offering(0x1808));
        let kept = Kept { sensor: Some(sensor), meter: Some(meter), desk: None };
        seen.look_for(&kept, None);
        assert_eq!(seen.wanted(its, &[]), Some(Kind::Sensor));
        assert_eq!(seen.wanted(meters, &[]), Some(Kind::Meter));
        assert_eq!(seen.wanted(stranger, &glucose), None);
        assert!(!seen.stranger(), "none of them is a sensor that nobody looks for");
        assert_eq!(seen.wanted(stranger, &cgm), None);
        assert_eq!(seen.wanted(its, &cgm), Some(Kind::Sensor));
        assert!(seen.stranger() && !seen.stranger(), "told once");
        // a new sensor: not the old one, whatever it offers
        seen.look_for(&kept, Some(Kind::Sensor));
        assert_eq!(seen.wanted(its, &cgm), None);
        assert_eq!(seen.wanted(meters, &glucose), Some(Kind::Meter));
        assert_eq!(seen.wanted(stranger, &cgm), Some(Kind::Sensor));
        assert_eq!(seen.wanted(stranger, &glucose), None);
        assert!(!seen.stranger(), "this one is looked for, and the old one is known");
        // the same bytes as a public address are another's
        seen.look_for(&kept, None);
        assert_eq!(seen.wanted(Address::new(AddrKind::PUBLIC, its.addr), &[]), None);
    }

    #[test]
    fn of_those_passed_over_the_newest_four_are_known() {
        let seen = Seen::new();
        for last in [1, 2, 3, 4, 5, 5] {
            seen.shun(peer(last).1);
        }
        let shunned = |last| seen.shunned.borrow().iter().any(|known| *known == peer(last).1);
        assert_eq!([1, 2, 3, 4, 5].map(shunned), [false, true, true, true, true]);
        seen.forgive();
        assert!(!shunned(5));
    }
}
