//! The wrist's side of a link that a phone or a desk begins: settings come and are read back. It runs beside the collector, on
//! a link of its own, so that the sensor's goes on.
//!
//! The wrist can be found only while a phone or desk is paired, or may be. Who is not that one, or has not its key, is
//! answered nothing, and is left; no pairing is even begun unless the wearer asked for it.

use crate::bond::{address_of, from_host, security};
use crate::guard::Doors;
use crate::{ANSWER, Known, Note, PAIRING, Pace, Pool, Radio, With, Wrist, forget, gone};
use embassy_futures::select::{Either, select};
use embassy_sync::blocking_mutex::raw::NoopRawMutex;
use embassy_time::{Duration, Instant, Timer, with_timeout};
use trouble_host::att::{AttClient, AttCmd, AttReq, AttRsp};
use trouble_host::prelude::*;
use wrist::settings::LONGEST;
use wrist_collector::exchange::{Exchange, Fault, answer};
use wrist_collector::trust::{Bond, Pairing, Refusal, Security, Wanted, admit};

/// The service: a random number of this wrist's own, as are those of its characteristics.
pub const SERVICE: [u8; 16] = numbered(0);
const COMMAND: [u8; 16] = numbered(1);
const STATE: [u8; 16] = numbered(2);
const MESSAGE: [u8; 16] = numbered(3);
const WORDS: [u8; 16] = numbered(4);

/// 5b0bNNca-3348-4363-a055-6e543b164e03, as it is sent.
const fn numbered(number: u8) -> [u8; 16] {
    [0x03, 0x4E, 0x16, 0x3B, 0x54, 0x6E, 0x55, 0xA0, 0x63, 0x43, 0x48, 0x33, 0xCA, number, 0x0B, 0x5B]
}

/// A link on which nothing is asked for so long is left.
const IDLE: Duration = Duration::from_secs(60);
/// Whether one may be paired is looked at again after so long.
const LOOK: Duration = Duration::from_secs(10);
/// So many refused requests on one link are no accident.
const REFUSED: u16 = 200;
/// Attributes: names, a service, four characteristics.
const ATTRIBUTES: usize = 24;
/// Found by who looks for it while one may be paired (general discoverable), not afterwards; Bluetooth Low Energy only.
const FLAGS: [u8; 2] = [0x04, 0x06];

/// Serves for ever, beside [`collect`](crate::collect).
pub async fn serve<C: Radio, W: Wrist>(
    stack: &Stack<'_, C, Pool>,
    doors: &Doors,
    known: &Known,
    wrist: &mut W,
    pace: Pace,
) -> ! {
    let mut peripheral = stack.peripheral();
    loop {
        let open = wrist.wanted() == (Wanted::Desk, Pairing::WithDigits);
        if !open && known.kept().desk.is_none() {
            Timer::after(LOOK.min(pace.rest)).await;
            continue;
        }
        match found(&mut peripheral, open, pace).await {
            Ok(Some(connection)) => {
                doors.open(open);
                known.desk_pairs.set(open);
                let _ = connection.set_bondable(open);
                let refused = answer_to(stack, connection.clone(), doors, known, wrist, open).await.is_err();
                doors.open(false);
                known.desk_pairs.set(false);
                connection.disconnect();
                let _ = with_timeout(ANSWER, gone(&connection)).await;
                if refused {
                    // what a refused pairing has left
                    forget(stack, &known.kept());
                    Timer::after(pace.rest).await;
                }
            }
            Ok(None) => {}
            Err(()) => {
                wrist.note(Note::Trouble);
                Timer::after(pace.rest).await;
            }
        }
    }
}

/// Lets itself be found for a while, until somebody begins a link.
async fn found<'s, C: Radio>(
    peripheral: &mut Peripheral<'s, C, Pool>,
    open: bool,
    pace: Pace,
) -> Result<Option<Connection<'s, Pool>>, ()> {
    let mut data = [0; 31];
    let flags = AdStructure::Flags(FLAGS[usize::from(open)]);
    let services = [SERVICE];
    let listed = AdStructure::CompleteServiceUuids128(&services);
    let length = AdStructure::encode_slice(&[flags, listed], &mut data).map_err(|_| ())?;
    let every = if open { pace.open_interval } else { pace.found_interval };
    let how = AdvertisementParameters { interval_min: every, interval_max: every, ..Default::default() };
    let what = Advertisement::ConnectableScannableUndirected {
        adv_data: data.get(..length).unwrap_or_default(),
        scan_data: &[],
    };
    let advertiser =
        with_timeout(ANSWER, peripheral.advertise(&how, what)).await.map_err(|_| ())?.map_err(|_| ())?;
    match with_timeout(LOOK, advertiser.accept()).await {
        Ok(Ok(connection)) => Ok(Some(connection)),
        Ok(Err(_)) | Err(_) => Ok(None),
    }
}

/// What is done on one link.
struct Handles {
    command: u16,
    state: u16,
    message: u16,
    words: u16,
}

/// From link to its end. An error: it was no phone or desk of this wrist's.
async fn answer_to<C: Radio, W: Wrist>(
    stack: &Stack<'_, C, Pool>,
    connection: Connection<'_, Pool>,
    doors: &Doors,
    known: &Known,
    wrist: &mut W,
    open: bool,
) -> Result<(), ()> {
    let mut table: AttributeTable<'_, NoopRawMutex, ATTRIBUTES> = AttributeTable::new();
    GapConfig::default("wrist").build(&mut table).map_err(|_| ())?;
    let handles = offered(&mut table);
    let server = AttributeServer::<_, Pool, ATTRIBUTES, 1>::new(table);
    let gatt = connection.with_attribute_server(&server).map_err(|_| ())?;
    let (mut exchange, mut words) = (Exchange::new(), wrist::words::Sentence::new());
    let (mut admitted, mut refused, mut pairs) = (false, 0_u16, false);
    let mut until = Instant::now() + if open { PAIRING } else { ANSWER };
    loop {
        let event = match select(gatt.next(), Timer::at(until)).await {
            Either::First(event) => event,
            Either::Second(()) if admitted => return Ok(()),
            Either::Second(()) => {
                wrist.note(if pairs {
                    Note::PairingFailed(Wanted::Desk)
                } else {
                    Note::DeskRefused(Refusal::Stranger)
                });
                return Err(());
            }
        };
        match event {
            GattConnectionEvent::Disconnected { .. } => {
                if exchange.received() > 0 {
                    wrist.note(Note::BrokenOff);
                }
                return if admitted { Ok(()) } else { Err(()) };
            }
            GattConnectionEvent::PassKeyConfirm(digits) => {
                pairs = true;
                let same = open && wrist.same(With::Desk, digits.value()).await;
                let told = if same { gatt.pass_key_confirm() } else { gatt.pass_key_cancel() };
                if !same || told.is_err() {
                    wrist.note(Note::PairingFailed(Wanted::Desk));
                    return Err(());
                }
            }
            GattConnectionEvent::PassKeyDisplay(digits) => {
                pairs = true;
                wrist.show(With::Desk, digits.value());
            }
            GattConnectionEvent::PassKeyInput => {
                pairs = true;
                let typed = wrist.typed().await.and_then(|digits| gatt.pass_key_input(digits).ok());
                if typed.is_none() {
                    wrist.note(Note::PairingFailed(Wanted::Desk));
                    return Err(());
                }
            }
            GattConnectionEvent::Encrypted { bond: Some(bond), .. } => {
                let level = level(gatt.raw());
                match returned(known.kept().desk.as_ref(), &from_host(&bond), level) {
                    Ok(()) => {
                        admitted = true;
                        until = Instant::now() + IDLE;
                        wrist.note(Note::DeskLinked(level));
                    }
                    Err(refusal) => {
                        wrist.note(Note::DeskRefused(refusal));
                        return Err(());
                    }
                }
            }
            GattConnectionEvent::PairingComplete { bond: Some(bond), .. } if open && !admitted => {
                let level = level(gatt.raw());
                if let Err(refusal) = admit(None, level, true, Pairing::WithDigits) {
                    wrist.note(Note::DeskRefused(refusal));
                    return Err(());
                }
                known.set_desk(from_host(&bond));
                forget(stack, &known.kept());
                wrist.keep(&known.kept());
                wrist.note(Note::DeskPaired);
                admitted = true;
                doors.open(false);
                known.desk_pairs.set(false);
                until = Instant::now() + IDLE;
            }
            GattConnectionEvent::PairingComplete { .. }
            | GattConnectionEvent::PairingFailed(_)
            | GattConnectionEvent::BondLost => {
                wrist.note(Note::PairingFailed(Wanted::Desk));
                return Err(());
            }
            GattConnectionEvent::Gatt { event } => {
                let ours = (handles.command..=handles.words).contains(&event.payload().handle().unwrap_or(0));
                if !ours {
                    if let Ok(reply) = event.accept() {
                        reply.send().await;
                    }
                } else if !admitted {
                    refused = refused.saturating_add(1);
                    if let Ok(reply) = event.reject(AttErrorCode::INSUFFICIENT_AUTHENTICATION) {
                        reply.send().await;
                    }
                } else {
                    until = Instant::now() + IDLE;
                    if !one(event, &handles, &mut exchange, &mut words, wrist, gatt.raw().att_mtu()).await {
                        refused = refused.saturating_add(1);
                    }
                }
                if refused >= REFUSED {
                    wrist.note(Note::Left(wrist_collector::collector::Why::Malformed));
                    return Err(());
                }
            }
            _ => {}
        }
    }
}

fn level(connection: &Connection<'_, Pool>) -> Security {
    connection.security_level().map_or(Security::None, security)
}

/// Whether a link that was encrypted with a kept key is the phone's or desk's: the sensor's own key is none to change settings
/// with.
fn returned(desk: Option<&Bond>, bond: &Bond, level: Security) -> Result<(), Refusal> {
    let desk = desk.filter(|desk| desk.key == bond.key && address_of(desk) == address_of(bond));
    admit(desk, level, false, Pairing::Closed)
}

/// The service, where all has a handle.
fn offered(table: &mut AttributeTable<'_, NoopRawMutex, ATTRIBUTES>) -> Handles {
    const SURE: PermissionLevel = PermissionLevel::AuthenticationRequired;
    let mut service = table.add_service(Service::new(SERVICE));
    let command = service
        .add_characteristic_small(COMMAND, [CharacteristicProp::Write], [0_u8; 1])
        .write_permission(SURE);
    let command = command.build().handle;
    let mut read = |uuid: [u8; 16]| {
        let it: CharacteristicBuilder<'_, '_, [u8], _, ATTRIBUTES> =
            service.add_characteristic_ro(uuid, &[][..]);
        it.read_permission(SURE).build().handle
    };
    let handles = Handles { command, state: read(STATE), message: read(MESSAGE), words: read(WORDS) };
    service.build();
    handles
}

/// One request of the admitted; whether it was granted.
async fn one<W: Wrist>(
    event: GattEvent<'_, '_, Pool>,
    handles: &Handles,
    exchange: &mut Exchange,
    words: &mut wrist::words::Sentence,
    wrist: &mut W,
    mtu: u16,
) -> bool {
    let data = event.into_payload();
    let (handle, offset) = match data.incoming() {
        AttClient::Request(AttReq::Write { handle, data: command }) if handle == handles.command => {
            let outcome = commanded(command, exchange, words, wrist);
            return match outcome {
                Ok(()) => data.reply(AttRsp::Write).await.is_ok(),
                Err(fault) => {
                    let code = AttErrorCode::new(fault as u8);
                    let _ = data.reply(AttRsp::Error { request: 0x12, handle, code }).await;
                    false
                }
            };
        }
        AttClient::Request(AttReq::Read { handle }) => (handle, None),
        AttClient::Request(AttReq::ReadBlob { handle, offset }) => (handle, Some(usize::from(offset))),
        AttClient::Command(AttCmd::Write { .. }) => return false, // no answer is told
        _ => {
            let code = AttErrorCode::REQUEST_NOT_SUPPORTED;
            let _ = data.reply(AttRsp::Error { request: 0x0A, handle: handles.command, code }).await;
            return false;
        }
    };
    let mut message = [0; LONGEST];
    let (length, name) = wrist.settings(&mut message);
    let message = message.get(..length).unwrap_or_default();
    let state = exchange.state(name, length);
    let value = match handle {
        handle if handle == handles.state => &state[..],
        handle if handle == handles.message => exchange.shown(message),
        handle if handle == handles.words => words.as_bytes(),
        _ => {
            let code = AttErrorCode::READ_NOT_PERMITTED;
            let _ = data.reply(AttRsp::Error { request: 0x0A, handle, code }).await;
            return false;
        }
    };
    let room = usize::from(mtu).saturating_sub(1);
    let request = if offset.is_some() { 0x0C } else { 0x0A };
    let answer = match value.get(offset.unwrap_or(0)..) {
        None => AttRsp::Error { request, handle, code: AttErrorCode::INVALID_OFFSET },
        Some(rest) => {
            let data = rest.get(..room).unwrap_or(rest);
            if offset.is_some() { AttRsp::ReadBlob { data } } else { AttRsp::Read { data } }
        }
    };
    data.reply(answer).await.is_ok()
}

/// Carries out one command.
fn commanded<W: Wrist>(
    command: &[u8],
    exchange: &mut Exchange,
    words: &mut wrist::words::Sentence,
    wrist: &mut W,
) -> Result<(), Fault> {
    let Some(message) = exchange.command(command)? else { return Ok(()) };
    let (taken, said) = wrist.take(message);
    *words = said;
    wrist.note(Note::Settings(taken));
    answer(taken)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_phones_own_key_opens() {
        let desk = Bond {
            random: true,
            address: [1, 2, 3, 4, 5, 0xC6],
            resolving_key: None,
            key: [7; 16],
            authenticated: true,
        };
        use Security::{Authenticated, Encrypted};
        assert_eq!(returned(Some(&desk), &desk, Authenticated), Ok(()));
        assert_eq!(returned(Some(&desk), &desk, Encrypted), Err(Refusal::Unsure));
        assert_eq!(returned(Some(&desk), &desk, Security::None), Err(Refusal::NoKey));
        // the sensor's, or one of a pairing before
        let sensor = Bond { address: [9; 6], ..desk };
        assert_eq!(returned(Some(&desk), &sensor, Authenticated), Err(Refusal::Stranger));
        assert_eq!(
            returned(Some(&desk), &Bond { key: [8; 16], ..desk }, Authenticated),
            Err(Refusal::Stranger)
        );
        assert_eq!(
            returned(Some(&desk), &Bond { random: false, ..desk }, Authenticated),
            Err(Refusal::Stranger)
        );
        assert_eq!(returned(None, &desk, Authenticated), Err(Refusal::Stranger));
    }
}
