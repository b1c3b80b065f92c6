//! Every screen against its golden picture, in one bit and in greys. The data are invented.

use glidepath::alarm::{Kind, Priority};
use glidepath::{Glucose, History, Instant, Rate, Reading};
use wrist::face::{Alert, Bound, Expected, Face, Now, Trust, Unit};
use wrist::screen::{Page, draw};
use wrist_desk::{BitPicture, GreyPicture, Picture, check};

const CLOCK: u32 = 1_800_000_000;

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

/// Twelve hours with a meal and a fall at their end.
fn history() -> History<288> {
    let mut history = History::new();
    for i in 0..144 {
        let x = i as f32 / 144.0;
        let meal = 120.0 * (-(x - 0.55_f32).powi(2) / 0.01).exp();
        let wave = 12.0 * (x * 31.0).sin();
        let mg_dl = 108.0 + meal + wave - 70.0 * (x - 0.8).max(0.0);
        let at = Instant::from_secs(CLOCK - 240 - (143 - i) * 300);
        let _ = history.insert(&Reading::new(at, glucose(mg_dl)));
    }
    history
}

fn now() -> Now {
    let expected = |mg_dl, sd_mg_dl| Expected { glucose: glucose(mg_dl), sd_mg_dl };
    Now {
        at: Instant::from_secs(CLOCK - 240),
        glucose: glucose(104.0),
        bound: None,
        rate: Some((Rate::from_mg_dl_per_min(-1.2).unwrap(), 0.4)),
        soon: Some([expected(84.0, 9.0), expected(76.0, 18.0), expected(72.0, 28.0)]),
        low_in_min: None,
    }
}

fn scene(name: &str, change: impl Fn(&mut Face<'_>), page: Page) {
    let history = history();
    let mut face = Face {
        clock: Some(Instant::from_secs(CLOCK)),
        now: Some(now()),
        history: history.view(),
        trust: Trust::Good,
        note: "",
        battery_percent: Some(80),
        alert: None,
        unit: Unit::MgDl,
    };
    change(&mut face);
    let mut bits = BitPicture::new();
    draw(&face, page, &mut bits).unwrap();
    let mut greys = GreyPicture::new();
    draw(&face, page, &mut greys).unwrap();
    let outcome = check(&Picture::from(&bits), &format!("{name}-bit"))
        .and(check(&Picture::from(&greys), &format!("{name}-grey")));
    assert_eq!(outcome, Ok(()));
}

#[test]
fn falling() {
    scene("falling", |_| {}, Page::Now);
}

#[test]
fn steady_in_mmol() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        face.now = Some(Now {
            glucose: glucose(221.6),
            rate: Some((Rate::from_mg_dl_per_min(0.1).unwrap(), 0.2)),
            soon: None,
            ..now()
        });
    };
    scene("steady-mmol", change, Page::Now);
}

#[test]
fn rising_with_a_doubtful_rate() {
    let change = |face: &mut Face<'_>| {
        face.trust = Trust::Poor;
        face.note = "noisy";
        face.battery_percent = Some(10);
        face.now = Some(Now {
            glucose: glucose(187.0),
            rate: Some((Rate::from_mg_dl_per_min(2.2).unwrap(), 1.5)),
            ..now()
        });
    };
    scene("rising-doubtful", change, Page::Now);
}

#[test]
fn low_ahead() {
    let change = |face: &mut Face<'_>| {
        face.now = Some(Now { glucose: glucose(83.0), low_in_min: Some(14), ..now() });
        face.alert = Some(Alert { kind: Kind::LowAhead, priority: Priority::Medium });
    };
    scene("alarm-low-ahead", change, Page::Now);
}

#[test]
fn very_low_escalated() {
    let change = |face: &mut Face<'_>| {
        face.now = Some(Now { glucose: glucose(48.0), ..now() });
        face.alert = Some(Alert { kind: Kind::Floor, priority: Priority::High });
    };
    scene("alarm-very-low", change, Page::Past);
}

#[test]
fn alarm_without_a_value() {
    let change = |face: &mut Face<'_>| {
        face.clock = Some(Instant::from_secs(CLOCK + 1800));
        face.alert = Some(Alert { kind: Kind::NoData, priority: Priority::Medium });
    };
    scene("alarm-no-readings", change, Page::Now);
}

#[test]
fn stale() {
    scene("stale", |face| face.clock = Some(Instant::from_secs(CLOCK + 1200)), Page::Now);
}

#[test]
fn not_trusted() {
    let change = |face: &mut Face<'_>| {
        face.trust = Trust::None;
        face.note = "check it";
    };
    scene("not-trusted", change, Page::Now);
}

#[test]
fn below_the_sensors_range() {
    let change = |face: &mut Face<'_>| {
        let low = Now { glucose: glucose(40.0), bound: Some(Bound::AtMost), rate: None, soon: None, ..now() };
        face.now = Some(low);
    };
    scene("below-range", change, Page::Now);
}

#[test]
fn above_the_sensors_range_in_mmol() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        let high =
            Now { glucose: glucose(400.0), bound: Some(Bound::AtLeast), rate: None, soon: None, ..now() };
        face.now = Some(high);
    };
    scene("above-range-mmol", change, Page::Now);
    let rings = |face: &mut Face<'_>| {
        change(face);
        face.alert = Some(Alert { kind: Kind::High, priority: Priority::Low });
    };
    scene("alarm-above-range-mmol", rings, Page::Now);
}

#[test]
fn rises_fast_in_mmol() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        let rate = Some((Rate::from_mg_dl_per_min(2.8).unwrap(), 0.4));
        face.now = Some(Now { glucose: glucose(367.0), rate, ..now() });
        face.alert = Some(Alert { kind: Kind::SteepRise, priority: Priority::High });
    };
    scene("alarm-rises-fast-mmol", change, Page::Now);
}

#[test]
fn low_ahead_from_high_up() {
    let change = |face: &mut Face<'_>| {
        face.trust = Trust::Fair;
        let rate = Some((Rate::from_mg_dl_per_min(-3.2).unwrap(), 0.5));
        face.now = Some(Now { glucose: glucose(148.0), rate, low_in_min: Some(24), ..now() });
    };
    scene("low-in-sight", change, Page::Now);
    let rings = |face: &mut Face<'_>| {
        change(face);
        face.alert = Some(Alert { kind: Kind::LowAhead, priority: Priority::High });
    };
    scene("alarm-low-ahead-early", rings, Page::Now);
}

#[test]
fn stale_in_mmol_after_hours() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        face.note = "warming up";
        face.clock = Some(Instant::from_secs(CLOCK + 8400));
    };
    scene("stale-mmol", change, Page::Now);
    scene("stale-past", change, Page::Past);
}

#[test]
fn nothing_yet() {
    let change = |face: &mut Face<'_>| {
        face.now = None;
        face.clock = None;
        face.trust = Trust::Fair;
        face.battery_percent = None;
    };
    scene("nothing-yet", change, Page::Now);
}

#[test]
fn past() {
    scene("past", |_| {}, Page::Past);
}
