//! The collector on `trouble-host`: scanning, links, pairing, reading and writing; and [`serve`], where a phone or a desk
//! brings settings. What to do is decided in `wrist_collector`; this carries it out.

#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod bond;
pub mod guard;
pub mod seen;
pub mod serve;
pub mod told;

use crate::bond::{address_of, from_host, security, to_host};
use crate::seen::Seen;
use bt_hci::cmd::le::{
    LeAddDeviceToFilterAcceptList, LeClearFilterAcceptList, LeCreateConn, LeSetAdvData, LeSetAdvEnable,
    LeSetAdvParams, LeSetScanEnable, LeSetScanParams, LeSetScanResponseData,
};
use bt_hci::controller::{ControllerCmdAsync, ControllerCmdSync};
use bt_hci::param::Status;
use core::cell::{Cell, RefCell};
use embassy_futures::select::{Either, Either3, select, select3};
use embassy_time::{Duration, Timer, with_timeout};
use heapless::Vec;
use trouble_host::prelude::*;
use wrist::link::Frame;
use wrist::settings::{LONGEST, Taken};
use wrist::words::Sentence;
use wrist_collector::collector::{Collector, Counts, Kind, Step, Why};
use wrist_collector::control::Number;
use wrist_collector::kept::{Kept, Peer, Settled};
use wrist_collector::trust::{Bond, Pairing, Refusal, Security, Wanted, admit};

/// Packets of the host.
pub type Pool = DefaultPacketPool;

/// What the rest of the wrist is to this.
#[allow(async_fn_in_trait, reason = "one executor, one thread")]
pub trait Wrist {
    /// A count of seconds that only grows.
    fn now_s(&self) -> u32;
    /// Something was understood.
    fn heard(&mut self, kind: Kind, frame: &Frame);
    /// To be kept over a restart, after what was heard.
    fn keep(&mut self, kept: &Kept);
    /// What happened, for those who look on.
    fn note(&mut self, note: Note);
    /// Who may be paired now, and how.
    fn wanted(&self) -> (Wanted, Pairing);
    /// Whether the wearer wants a session started.
    fn start_wanted(&mut self) -> bool;
    /// Six digits that the other side shows too: whether they are the same there.
    async fn same(&mut self, with: With, digits: u32) -> bool;
    /// Six digits to be typed into the other side.
    fn show(&mut self, with: With, digits: u32);
    /// Six digits that the other side shows or has printed on it.
    async fn typed(&mut self) -> Option<u32>;
    /// The message of the settings in force, written to the front of `room`: how long it is, and the name of those kept.
    fn settings(&self, room: &mut [u8; LONGEST]) -> (usize, Option<u32>);
    /// Settings came whole: keeps them and takes them in, or says why not.
    fn take(&mut self, message: &[u8]) -> (Taken, Sentence);
}

/// Whom digits are compared with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum With {
    /// A sensor or a meter.
    Sensor,
    /// A phone or a desk.
    Desk,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Note {
    /// A new sensor or meter was paired.
    Paired(Kind, Security),
    /// A link is up and trusted.
    Linked(Kind, Security),
    /// A sensor or meter was not listened to.
    Refused(Kind, Refusal),
    /// Pairing with who was wanted came to nothing.
    PairingFailed(Wanted),
    /// The collector left the link.
    Left(Why),
    /// The link is gone.
    Lost(Kind, Counts),
    /// The host failed to do what it was asked for.
    Trouble,
    /// A phone or desk was paired.
    DeskPaired,
    /// It is back, and trusted.
    DeskLinked(Security),
    /// Somebody was not let in in its place.
    DeskRefused(Refusal),
    /// Its link went in the middle of a transfer: what had come is forgotten.
    BrokenOff,
    /// Settings came whole.
    Settings(Taken),
}

/// Who is known, for both sides of the radio.
pub struct Known {
    kept: RefCell<Kept>,
    /// A phone or desk is being paired: the host has one pairing at a time.
    desk_pairs: Cell<bool>,
}

impl Known {
    /// Goes on from what was kept.
    #[must_use]
    pub const fn new(kept: Kept) -> Self {
        Self { kept: RefCell::new(kept), desk_pairs: Cell::new(false) }
    }

    /// All that is to be kept.
    #[must_use]
    pub fn kept(&self) -> Kept {
        *self.kept.borrow()
    }

    fn peer(&self, kind: Kind) -> Option<Peer> {
        match kind {
            Kind::Sensor => self.kept().sensor,
            Kind::Meter => self.kept().meter,
        }
    }

    fn set_peer(&self, kind: Kind, peer: Peer) {
        let mut kept = self.kept.borrow_mut();
        match kind {
            Kind::Sensor => kept.sensor = Some(peer),
            Kind::Meter => kept.meter = Some(peer),
        }
    }

    fn set_desk(&self, bond: Bond) {
        self.kept.borrow_mut().desk = Some(bond);
    }
}

/// Who collects.
pub struct Collectors<'k> {
    known: &'k Known,
    sensor: Collector,
    meter: Collector,
}

impl<'k> Collectors<'k> {
    /// Goes on from what was kept.
    #[must_use]
    pub fn new(known: &'k Known) -> Self {
        let settled = |kind| known.peer(kind).map_or(Settled::default(), |peer| peer.settled);
        Self {
            known,
            sensor: Collector::new(Kind::Sensor, settled(Kind::Sensor)),
            meter: Collector::new(Kind::Meter, settled(Kind::Meter)),
        }
    }

    /// One of them.
    #[must_use]
    pub const fn of(&self, kind: Kind) -> &Collector {
        match kind {
            Kind::Sensor => &self.sensor,
            Kind::Meter => &self.meter,
        }
    }

    fn of_mut(&mut self, kind: Kind) -> &mut Collector {
        match kind {
            Kind::Sensor => &mut self.sensor,
            Kind::Meter => &mut self.meter,
        }
    }

    /// Hands on what was understood.
    fn hand_on(&mut self, kind: Kind, wrist: &mut impl Wrist) {
        while let Some(frame) = self.of_mut(kind).frame() {
            wrist.heard(kind, &frame);
        }
    }

    /// Sees to what is to be kept, once all before it was handed on.
    fn settle(&mut self, kind: Kind, wrist: &mut impl Wrist) {
        let settled = self.of(kind).settled();
        if let Some(peer) = self.known.peer(kind).filter(|peer| peer.settled != settled) {
            self.known.set_peer(kind, Peer { settled, ..peer });
            wrist.keep(&self.known.kept());
        }
    }
}

/// Timing of scans and links.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// A scan's windows come this far apart …
    pub scan_interval: Duration,
    /// … and are this long.
    pub scan_window: Duration,
    /// Events of a link come this far apart.
    pub link_interval: Duration,
    /// A link that is silent for so long is gone.
    pub link_timeout: Duration,
    /// Between a link's end and the next scan.
    pub rest: Duration,
    /// Somebody who was refused is passed over for so long.
    pub shun: Duration,
    /// So often the wrist lets itself be found by its phone or desk …
    pub found_interval: Duration,
    /// … and by one that may be paired.
    pub open_interval: Duration,
}

impl Default for Pace {
    fn default() -> Self {
        Self {
            scan_interval: Duration::from_millis(1280),
            scan_window: Duration::from_millis(64),
            link_interval: Duration::from_millis(100),
            link_timeout: Duration::from_secs(6),
            rest: Duration::from_secs(2),
            shun: Duration::from_secs(60),
            found_interval: Duration::from_secs(2),
            open_interval: Duration::from_millis(200),
        }
    }
}

/// Pairing waits for a person.
const PAIRING: Duration = Duration::from_secs(60);
/// What the host does is done by then.
const ANSWER: Duration = Duration::from_secs(10);
/// Whether a phone or desk is being paired is looked at so often.
const LOOK: Duration = Duration::from_millis(50);
/// Services looked at.
const SERVICES: usize = 4;

/// A controller that can do all that is needed here.
pub trait Radio:
    Controller
    + ControllerCmdSync<LeSetScanParams>
    + ControllerCmdSync<LeSetScanEnable>
    + ControllerCmdSync<LeClearFilterAcceptList>
    + ControllerCmdSync<LeAddDeviceToFilterAcceptList>
    + ControllerCmdAsync<LeCreateConn>
    + ControllerCmdSync<LeSetAdvParams>
    + ControllerCmdSync<LeSetAdvData>
    + ControllerCmdSync<LeSetScanResponseData>
    + ControllerCmdSync<LeSetAdvEnable>
{
}

impl<C> Radio for C where
    C: Controller
        + ControllerCmdSync<LeSetScanParams>
        + ControllerCmdSync<LeSetScanEnable>
        + ControllerCmdSync<LeClearFilterAcceptList>
        + ControllerCmdSync<LeAddDeviceToFilterAcceptList>
        + ControllerCmdAsync<LeCreateConn>
        + ControllerCmdSync<LeSetAdvParams>
        + ControllerCmdSync<LeSetAdvData>
        + ControllerCmdSync<LeSetScanResponseData>
        + ControllerCmdSync<LeSetAdvEnable>
{
}

/// Collects for ever. The host's runner must run beside it, with `seen` as its handler.
pub async fn collect<C: Radio, W: Wrist>(
    stack: &Stack<'_, C, Pool>,
    seen: &Seen,
    collectors: &mut Collectors<'_>,
    wrist: &mut W,
    pace: Pace,
) -> ! {
    let known = collectors.known;
    forget(stack, &known.kept());
    let mut central = stack.central();
    let mut shunned_at = wrist.now_s();
    loop {
        let new = match wrist.wanted() {
            (Wanted::New(kind), pairing) if pairing != Pairing::Closed => Some(kind),
            _ => None,
        };
        seen.look_for(&known.kept(), new);
        if u64::from(wrist.now_s().wrapping_sub(shunned_at)) >= pace.shun.as_secs() {
            seen.forgive();
            shunned_at = wrist.now_s();
        }
        let found = scan(&mut central, seen, pace).await;
        if seen.stranger() {
            wrist.note(Note::Refused(Kind::Sensor, Refusal::Stranger));
        }
        if let Some((kind, address)) = found {
            match connect(&mut central, address, pace).await {
                Some(connection) => {
                    if visit(stack, &connection, kind, collectors, wrist).await.is_err() {
                        seen.shun(address);
                        shunned_at = wrist.now_s();
                    }
                    connection.disconnect();
                    // the host must see it go before the handle is used again
                    let _ = with_timeout(ANSWER, gone(&connection)).await;
                }
                None => wrist.note(Note::Trouble),
            }
            Timer::after(pace.rest).await;
        }
    }
}

async fn gone(connection: &Connection<'_, Pool>) {
    while connection.is_connected() {
        if let ConnectionEvent::Disconnected { .. } = connection.next().await {
            return;
        }
    }
}

/// Who is seen, before those who were passed over get another chance.
async fn scan<C: Radio>(
    central: &mut Central<'_, C, Pool>,
    seen: &Seen,
    pace: Pace,
) -> Option<(Kind, Address)> {
    let config = ScanConfig {
        active: false,
        interval: pace.scan_interval,
        window: pace.scan_window,
        ..ScanConfig::default()
    };
    let mut scanner = Scanner::new(central);
    match with_timeout(ANSWER, scanner.scan(&config)).await {
        Ok(Ok(session)) => {
            let found = with_timeout(pace.shun, seen.found()).await.ok();
            let _ = with_timeout(ANSWER, session.stop()).await;
            found
        }
        _ => {
            Timer::after_secs(1).await;
            None
        }
    }
}

async fn connect<'s, C: Radio>(
    central: &mut Central<'s, C, Pool>,
    address: Address,
    pace: Pace,
) -> Option<Connection<'s, Pool>> {
    let config = ConnectConfig {
        scan_config: ScanConfig {
            filter_accept_list: &[address],
            interval: pace.scan_interval,
            window: pace.scan_window,
            ..ScanConfig::default()
        },
        connect_params: RequestedConnParams {
            min_connection_interval: pace.link_interval,
            max_connection_interval: pace.link_interval,
            max_latency: 0,
            min_event_length: Duration::from_secs(0),
            max_event_length: Duration::from_secs(0),
            supervision_timeout: pace.link_timeout,
        },
    };
    with_timeout(ANSWER, central.connect(&config)).await.ok()?.ok()
}

/// From link to its end. An error: it must not be tried again at once.
async fn visit<C: Radio, W: Wrist>(
    stack: &Stack<'_, C, Pool>,
    connection: &Connection<'_, Pool>,
    kind: Kind,
    collectors: &mut Collectors<'_>,
    wrist: &mut W,
) -> Result<(), ()> {
    let before = collectors.known.peer(kind);
    let known = before.map(|peer| peer.bond);
    let (wanted, pairing) = wrist.wanted();
    let again = wanted == Wanted::Again(kind) && pairing != Pairing::Closed && known.is_some();
    if again {
        // the wearer says that this one has lost its key: it is a stranger until it is paired
        let _ = stack.remove_bond_information(connection.peer_identity());
    }
    let bonded = connection.is_bonded_peer();
    let pairing = if again || wanted == Wanted::New(kind) { pairing } else { Pairing::Closed };
    let may_pair = pairing != Pairing::Closed && !bonded;
    if !bonded && !may_pair {
        wrist.note(Note::Refused(kind, Refusal::Stranger));
        return Err(());
    }
    let _ = connection.set_bondable(may_pair);
    // not for longer than that may take
    for _ in 0..PAIRING.as_ticks() / LOOK.as_ticks() {
        if !collectors.known.desk_pairs.get() || !connection.is_connected() {
            break;
        }
        Timer::after(LOOK).await;
    }
    let (bond, paired) = match with_timeout(PAIRING, secure(connection, wrist, may_pair)).await {
        Ok(Ok(secured)) => secured,
        outcome => {
            wrist.note(match outcome {
                _ if may_pair => Note::PairingFailed(wanted),
                Ok(Err(Insecure::LinkLost)) => Note::Trouble,
                _ => Note::Refused(kind, Refusal::NoKey),
            });
            forget(stack, &collectors.known.kept());
            return Err(());
        }
    };
    let level = connection.security_level().map_or(Security::None, security);
    if let Err(refusal) = admit(known.as_ref().filter(|_| bonded), level, paired, pairing) {
        wrist.note(Note::Refused(kind, refusal));
        forget(stack, &collectors.known.kept());
        return Err(());
    }
    if paired {
        let Some(bond) = bond else {
            // it will not be known again
            wrist.note(Note::Refused(kind, Refusal::NoKey));
            return Err(());
        };
        match before.filter(|_| again) {
            // the same peer, the same count
            Some(peer) if address_of(&peer.bond) == address_of(&bond) => {
                collectors.known.set_peer(kind, Peer { bond, ..peer });
            }
            Some(_) => {
                wrist.note(Note::Refused(kind, Refusal::Stranger));
                forget(stack, &collectors.known.kept());
                return Err(());
            }
            None => {
                // another peer, another count
                *collectors.of_mut(kind) = Collector::new(kind, Settled::default());
                collectors.known.set_peer(kind, Peer { bond, settled: Settled::default() });
            }
        }
        forget(stack, &collectors.known.kept());
        wrist.keep(&collectors.known.kept());
        wrist.note(Note::Paired(kind, level));
    }
    wrist.note(Note::Linked(kind, level));
    let client = match with_timeout(ANSWER, GattClient::<C, Pool, SERVICES>::new(stack, connection)).await {
        Ok(Ok(client)) => client,
        _ => {
            wrist.note(Note::Trouble);
            return Ok(());
        }
    };
    let work = work(&client, kind, collectors, wrist);
    let ended = select3(client.task(), gone(connection), work).await;
    collectors.hand_on(kind, wrist);
    collectors.of_mut(kind).lost(wrist.now_s());
    collectors.hand_on(kind, wrist);
    collectors.settle(kind, wrist);
    wrist.note(Note::Lost(kind, collectors.of(kind).counts()));
    match ended {
        Either3::Third(why) => {
            wrist.note(Note::Left(why));
            if matches!(why, Why::Malformed | Why::Unusable) { Err(()) } else { Ok(()) }
        }
        _ => Ok(()),
    }
}

/// Why a link is not encrypted.
enum Insecure {
    /// It went before that, which says nothing of keys.
    LinkLost,
    /// The other side has not the key, or pairing came to nothing.
    Refused,
}

/// Encrypts the link, with the bond's key or, when there is none, by pairing. The new bond, and whether it was paired now.
async fn secure<W: Wrist>(
    connection: &Connection<'_, Pool>,
    wrist: &mut W,
    may_pair: bool,
) -> Result<(Option<Bond>, bool), Insecure> {
    let refused = |_| Insecure::Refused;
    connection.request_security().map_err(|_| Insecure::LinkLost)?;
    let (mut encrypted, mut paired) = (false, None);
    loop {
        // a bonded link is done once it is encrypted; a pairing once its keys have come too
        if let Some(bond) = paired.filter(|_| encrypted) {
            return Ok((bond, true));
        }
        if encrypted && !may_pair {
            return Ok((None, false));
        }
        match connection.next().await {
            ConnectionEvent::PassKeyConfirm(digits) => {
                if wrist.same(With::Sensor, digits.value()).await {
                    connection.pass_key_confirm().map_err(refused)?;
                } else {
                    connection.pass_key_cancel().map_err(refused)?;
                }
            }
            ConnectionEvent::PassKeyDisplay(digits) => wrist.show(With::Sensor, digits.value()),
            ConnectionEvent::PassKeyInput => match wrist.typed().await {
                Some(digits) => connection.pass_key_input(digits).map_err(refused)?,
                None => return Err(Insecure::Refused),
            },
            ConnectionEvent::Encrypted { .. } => encrypted = true,
            ConnectionEvent::PairingComplete { bond, .. } => {
                // the host says so of a link encrypted with the bond's key too; a key that failed is "bond lost" first
                if may_pair {
                    paired = Some(bond.as_ref().map(from_host));
                }
                encrypted = true;
            }
            ConnectionEvent::PairingFailed(_) | ConnectionEvent::BondLost => return Err(Insecure::Refused),
            ConnectionEvent::Disconnected { reason } => {
                let of_keys = [
                    Status::AUTHENTICATION_FAILURE,
                    Status::PIN_OR_KEY_MISSING,
                    Status::CONN_TERMINATED_DUE_TO_MIC_FAILURE,
                ];
                return Err(if of_keys.contains(&reason) { Insecure::Refused } else { Insecure::LinkLost });
            }
            _ => {}
        }
    }
}

/// Leaves the host with the bonds that are kept, and no other: a pairing may have filled two places, one for the
/// address used and one for the identity, and a refused one must fill none.
fn forget<C: Radio>(stack: &Stack<'_, C, Pool>, kept: &Kept) {
    let held: Vec<Identity, 10> =
        stack.with_bond_information(|bonds| bonds.iter().map(|bond| bond.identity).take(10).collect());
    for identity in held {
        let _ = stack.remove_bond_information(identity);
    }
    let peers = [kept.sensor, kept.meter].into_iter().flatten().map(|peer| peer.bond);
    for bond in peers.chain(kept.desk) {
        let _ = stack.add_bond_information(to_host(&bond));
    }
}

type Found = Vec<(Number, Characteristic<[u8]>), 12>;

/// What the collector wants, until it leaves.
async fn work<C: Radio, W: Wrist>(
    client: &GattClient<'_, C, Pool, SERVICES>,
    kind: Kind,
    collectors: &mut Collectors<'_>,
    wrist: &mut W,
) -> Why {
    let Ok(mut listener) = client.listen_all() else { return Why::Silent };
    let Some(found) = discover(client, kind).await else { return Why::Silent };
    let offers: Vec<Number, 12> = found.iter().map(|(number, _)| *number).collect();
    collectors.of_mut(kind).linked(&offers, wrist.now_s());
    loop {
        if wrist.start_wanted() {
            collectors.of_mut(kind).start_session();
        }
        let step = collectors.of_mut(kind).next(wrist.now_s());
        // what had waited for a transfer's end
        collectors.hand_on(kind, wrist);
        let of = |number: Number| found.iter().find(|(found, _)| *found == number).map(|(_, it)| it);
        match step {
            Step::Leave(why) => return why,
            Step::Wait(seconds) => {
                collectors.settle(kind, wrist);
                let wait = Timer::after_secs(u64::from(seconds.min(60)));
                if let Either::First(first) = select(listener.next(), wait).await {
                    tell(collectors.of_mut(kind), &found, &first, wrist.now_s());
                }
            }
            Step::Read(number) => {
                let mut bytes = [0; 32];
                let read = match of(number) {
                    Some(it) => {
                        let read = client.read_characteristic(it, &mut bytes);
                        with_timeout(ANSWER, read).await.ok().and_then(Result::ok)
                    }
                    None => None,
                };
                let value = read.and_then(|length| bytes.get(..length));
                collectors.of_mut(kind).read(number, value, wrist.now_s());
            }
            Step::Subscribe(number) => {
                let on: u16 = if matches!(number, Number::RACP | Number::OPS) { 2 } else { 1 };
                let descriptor = of(number).and_then(|it| it.cccd_handle);
                let done = match descriptor {
                    Some(handle) => answered(client.write_handle(handle, &on.to_le_bytes())).await,
                    None => false,
                };
                collectors.of_mut(kind).done(number, done, wrist.now_s());
            }
            Step::Write(number, bytes) => {
                let done = match of(number) {
                    Some(it) => answered(client.write_handle(it.handle, &bytes)).await,
                    None => false,
                };
                collectors.of_mut(kind).done(number, done, wrist.now_s());
            }
        }
        // all that waits, before anything else is asked for
        while let Either::First(next) = select(listener.next(), core::future::ready(())).await {
            tell(collectors.of_mut(kind), &found, &next, wrist.now_s());
            collectors.hand_on(kind, wrist);
        }
    }
}

async fn answered<E>(work: impl Future<Output = Result<(), E>>) -> bool {
    matches!(with_timeout(ANSWER, work).await, Ok(Ok(())))
}

fn tell<const N: usize>(collector: &mut Collector, found: &Found, news: &Notification<N>, now_s: u32) {
    if let Some((number, _)) = found.iter().find(|(_, it)| it.handle == news.handle()) {
        collector.notified(*number, news.as_ref(), now_s);
    }
}

/// The characteristics of the first service of a kind.
async fn discover<C: Radio>(client: &GattClient<'_, C, Pool, SERVICES>, kind: Kind) -> Option<Found> {
    let mut found = Found::new();
    for service in [kind.service(), 0x1805] {
        let uuid = Uuid::new_short(service);
        let services = with_timeout(ANSWER, client.services_by_uuid(&uuid)).await.ok()?.ok()?;
        let Some(handle) = services.first() else { continue };
        let characteristics = with_timeout(ANSWER, client.characteristics::<12>(handle)).await.ok()?.ok()?;
        for it in characteristics {
            if let Uuid::Uuid16(number) = it.uuid {
                let number = Number(u16::from_le_bytes(number));
                if !found.iter().any(|(held, _)| *held == number) {
                    let _ = found.push((number, it));
                }
            }
        }
    }
    Some(found)
}
