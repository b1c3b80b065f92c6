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
            kept: RefCell::new(Kept { sensor: None, meter: None }),
            new: Cell::new(None),
            shunned: RefCell::new(heapless::Deque::new()),
            found: Signal::new(),
        }
    }

    /// From now on looks for those who are bonded, and for a new one of a kind.
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

    fn wanted(&self, address: Address, data: &[u8]) -> Option<Kind> {
        let kept = self.kept.borrow();
        for (peer, kind) in [(kept.sensor, Kind::Sensor), (kept.meter, Kind::Meter)] {
            let Some(peer) = peer else { continue };
            let resolves = || {
                let key = peer.bond.resolving_key.and_then(IdentityResolvingKey::from_le_bytes);
                key.is_some_and(|key| key.resolve_address(&address.addr))
            };
            if address == address_of(&peer.bond) || resolves() {
                return Some(kind);
            }
        }
        self.new.get().filter(|kind| offers(data, kind.service()))
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
