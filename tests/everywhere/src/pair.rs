//! Two sensors worn at once: the hard stream for one, a shifted one for the other, saved and loaded now and then.

use crate::live::{bound, standing, view, wears};
use crate::{Event, Hash, Stream, mg_dl};
use core::hint::black_box;
use glidepath::alarm::AlarmPlan;
use glidepath::{PairMonitor, PairView, Reading, Settings, Side, Span, snapshot};

const ROOM: usize = 24;

pub fn pair(events: usize) -> Hash {
    let mut hash = Hash::new();
    let settings = black_box(Settings::default());
    hash.put(snapshot::pair_bytes_needed(black_box(ROOM)));
    let Ok(mut monitor) = PairMonitor::<ROOM>::new(settings, settings) else { return hash };
    let mut buffer = [0; snapshot::pair_bytes_needed(ROOM)];
    for (k, event) in Stream::new(black_box(61)).take(events).enumerate() {
        let side = if k % 3 == 0 { Side::Second } else { Side::First };
        match event {
            Event::Reading(reading) => {
                answers(&mut hash, &monitor.push(side, &reading));
                let other = Reading::new(
                    reading.at().plus(Span::from_secs(70)),
                    mg_dl((reading.glucose().mg_dl() * 0.9 - 4.0).max(0.0)),
                );
                answers(&mut hash, &monitor.push(side.other(), &other));
            }
            Event::Fingerstick(stick) => {
                for outcome in monitor.fingerstick(&stick) {
                    hash.put((outcome.is_used(), outcome.words()));
                    hash.put(outcome.expected().map(|e| (e.glucose, e.sd)));
                }
            }
            Event::Tick(at) => answers(&mut hash, &monitor.tick(at)),
            Event::SensorStarted(at) => monitor.sensor_started(side, at),
            Event::Snooze(kind, span) => {
                let kinds = glidepath::alarm::Kind::ALL;
                let kind = kinds.get(kind as usize % kinds.len()).copied();
                hash.put(kind.map(|kind| monitor.snooze(kind, span)));
            }
            Event::Acknowledge => monitor.acknowledge(),
            Event::Offset(offset) => monitor.set_utc_offset(offset),
            Event::Uptime(secs) => monitor.set_uptime(secs),
            Event::PowerReturned => monitor.power_returned(),
            Event::Restart => monitor.restart(),
        }
        if k % 64 == 63 {
            kept(&mut hash, &mut monitor, &mut buffer);
        }
    }
    monitor.set_alarm_plan(AlarmPlan::default());
    for side in Side::BOTH {
        let newest = monitor.history(side).newest();
        hash.put(newest.map(|reading| reading.glucose()));
        hash.put((monitor.quality(side).mean_square_z(), monitor.calibration(side).counts()));
        if let Some(wear) = monitor.wear(side) {
            wears(&mut hash, &wear);
        }
    }
    hash.put(monitor.alarms().is_monitoring());
    hash
}

fn answers(hash: &mut Hash, pair: &PairView) {
    view(hash, pair.fused());
    let agreement = pair.agreement();
    hash.put((agreement.words(), agreement.name(), agreement.suspect().map(Side::name)));
    for side in Side::BOTH {
        let one = pair.side(side);
        hash.put((one.newest, one.age));
        hash.put((one.weight, one.offset));
        one.reasons.iter().for_each(|reason| hash.put(reason as u8));
        hash.put(one.predicted(Span::from_mins(30)).map(|p| (p.glucose(), p.half_width_95())));
    }
    hash.put(pair.fused().bound().map(bound));
    standing(hash, pair.fused().alarms());
}

/// Saved and loaded it is the same; with a wrong byte it is refused.
fn kept(hash: &mut Hash, monitor: &mut PairMonitor<ROOM>, buffer: &mut [u8]) {
    let Ok(length) = snapshot::save_pair(monitor, buffer) else { return };
    let saved = buffer.get(..length).unwrap_or_default();
    saved.iter().for_each(|byte| hash.put(*byte));
    hash.put(snapshot::restore_pair(monitor, saved).is_ok());
    if let Some(byte) = buffer.get_mut(length / 2) {
        *byte ^= 0x40;
    }
    hash.put(snapshot::restore_pair(monitor, buffer).is_err());
}
