//! Two sensors worn at once, any stream of each: what is answered is finite and in range, silence is not shown as knowing, and
//! any bytes are a state or are refused.
#![no_main]

use arbitrary::Arbitrary;
use glidepath::alarm::{FLOOR_MG_DL, Kind, MAX_VALUE_AGE};
use glidepath::{
    Agreement, Fingerstick, Glucose, Instant, PairMonitor, PairView, Reading, Settings, Side, Span, Status,
    snapshot,
};
use libfuzzer_sys::fuzz_target;

const ROOM: usize = 8;
const STATUSES: [Status; 6] =
    [Status::Normal, Status::BelowRange, Status::AboveRange, Status::WarmUp, Status::Doubtful, Status::Fault];

#[derive(Arbitrary, Debug)]
enum Event {
    /// The next reading of a side so many minutes later, so many mg/dL further.
    Next(bool, u8, i8),
    /// A reading as it never should be.
    Odd(bool, u32, f32, u8),
    Fingerstick(i16, f32),
    Silence(u16),
    Acknowledge,
    Snooze(u8, i32),
    Started(bool, i32),
    PowerCut,
    /// The state is saved, a byte of it changed, and read again.
    Damage(u16, u8),
    Restart,
}

fn side(second: bool) -> Side {
    if second { Side::Second } else { Side::First }
}

fn check(view: &PairView, settled: bool) {
    let fused = view.fused();
    if let Some(estimate) = fused.estimate() {
        let (value, sd) = (estimate.glucose().mg_dl(), estimate.glucose_sd());
        assert!((0.0..=Glucose::MAX_MG_DL).contains(&value) && sd > 0.0 && sd.is_finite(), "{view:?}");
        assert!(estimate.rate().mg_dl_per_min().is_finite() && estimate.rate_sd().is_finite());
        assert!(fused.calibration_sd().is_some_and(f32::is_finite), "{view:?}");
    }
    for probability in [fused.low_probability(), fused.low_ahead_signal()].into_iter().flatten() {
        assert!((0.0..=1.0).contains(&probability), "{view:?}");
    }
    for horizon in [15, 30, 120] {
        for predicted in [fused.predicted(Span::from_mins(horizon))]
            .into_iter()
            .chain(Side::BOTH.map(|side| view.side(side).predicted(Span::from_mins(horizon))))
            .flatten()
        {
            assert!(
                predicted.half_width_95().is_finite()
                    && predicted.half_width_95() >= predicted.half_width_50()
            );
        }
    }
    for side in Side::BOTH {
        let one = view.side(side);
        assert!((0.0..=1.0).contains(&one.weight) && one.offset.is_finite(), "{view:?}");
    }
    let present = Side::BOTH.iter().any(|side| view.side(*side).age.is_some_and(|age| age < MAX_VALUE_AGE));
    assert!(present || fused.shown().is_none() && !fused.is_monitoring(), "{view:?}");
    assert_eq!(present, view.agreement() != Agreement::Neither);
    assert!(view.agreement() != Agreement::Apart || !fused.is_monitoring());
    if let (Some(shown), true) = (fused.shown(), settled) {
        // a very low that a present sensor itself reads is never shown as a good value
        let low = Side::BOTH.iter().any(|side| {
            let one = view.side(*side);
            one.age.is_some_and(|age| age < MAX_VALUE_AGE)
                && one.newest.is_some_and(|(_, g)| g.mg_dl() <= FLOOR_MG_DL)
        });
        assert!(!low || shown.glucose.mg_dl() <= 70.0 || shown.doubted || shown.bound.is_some(), "{view:?}");
    }
}

fuzz_target!(|events: Vec<Event>| {
    let settings = Settings::default();
    let mut monitor = PairMonitor::<ROOM>::new(settings, settings).unwrap();
    let (mut now, mut values) = (1_000_000_u32, [120.0_f32; 2]);
    let mut uptime = 0_u32;
    for event in events.into_iter().take(400) {
        monitor.set_uptime(uptime);
        let view = match event {
            Event::Next(second, minutes, further) => {
                let span = 60 * u32::from(minutes % 20);
                (now, uptime) = (now.wrapping_add(span), uptime.wrapping_add(span));
                monitor.set_uptime(uptime);
                let value = &mut values[usize::from(second)];
                *value = (*value + f32::from(further)).clamp(20.0, 450.0);
                let status = match *value {
                    ..40.0 => Status::BelowRange,
                    400.0.. => Status::AboveRange,
                    _ => Status::Normal,
                };
                let glucose = Glucose::from_mg_dl(value.clamp(40.0, 400.0)).unwrap();
                monitor
                    .push(side(second), &Reading::new(Instant::from_secs(now), glucose).with_status(status))
            }
            Event::Odd(second, at, value, status) => {
                let Ok(glucose) = Glucose::from_mg_dl(value) else { continue };
                let status = STATUSES[usize::from(status) % STATUSES.len()];
                monitor.push(side(second), &Reading::new(Instant::from_secs(at), glucose).with_status(status))
            }
            Event::Fingerstick(ago, value) => {
                let Ok(glucose) = Glucose::from_mg_dl(value) else { continue };
                let at = Instant::from_secs(now.saturating_add_signed(ago.into()));
                let _ = monitor.fingerstick(&Fingerstick::new(at, glucose));
                monitor.tick(None)
            }
            Event::Silence(secs) => {
                (now, uptime) = (now.wrapping_add(secs.into()), uptime.wrapping_add(secs.into()));
                monitor.set_uptime(uptime);
                monitor.tick(Instant::from_secs(now))
            }
            Event::Acknowledge => {
                monitor.acknowledge();
                continue;
            }
            Event::Snooze(kind, secs) => {
                let span =
                    monitor.snooze(Kind::ALL[usize::from(kind) % Kind::ALL.len()], Span::from_secs(secs));
                assert!(span >= Span::ZERO);
                continue;
            }
            Event::Started(second, off) => {
                let at = Instant::from_secs(now.saturating_add_signed(off));
                monitor.sensor_started(side(second), at);
                monitor.tick(None)
            }
            Event::PowerCut => {
                monitor.power_returned();
                uptime = 0;
                monitor.tick(None)
            }
            Event::Damage(place, with) => {
                let mut room = [0; snapshot::pair_bytes_needed(ROOM)];
                let length = snapshot::save_pair(&mut monitor, &mut room).unwrap();
                let mut other = monitor.clone();
                snapshot::restore_pair(&mut other, &room[..length]).unwrap();
                check(&other.tick(None), false);
                room[usize::from(place) % length] ^= with.max(1);
                assert!(snapshot::restore_pair(&mut other, &room[..length]).is_err());
                continue;
            }
            Event::Restart => {
                monitor.restart();
                continue;
            }
        };
        check(&view, true);
    }
});
