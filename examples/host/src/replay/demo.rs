//! The embedded demo: four days of a person who does not exist, wearing a sensor that does not exist.
//!
//! Everything in it is invented: a simulated body is told what to eat, inject and do, and a simulated sensor and
//! meter look at it. What happens is written below, so that the sheet can be read against it.

use glidepath::simulate::{Meter, MeterModel, Person, PersonConfig, Sensor, SensorModel, Truth};
use glidepath::{Error, Fingerstick, Glucose, Instant, Reading, Span};

use crate::table::{self, Column, Counts, Fingersticks, Trace};

/// Midnight before the first day: a Monday, on the wearer's own clock.
const START: u32 = 1_714_953_600; // 2024-05-06
const DAYS: u32 = 4;
const INTERVAL_MIN: u32 = 5;
/// The sensor is inserted at this minute of the first day.
const INSERTED: u32 = 6 * 60 + 30;

/// What the person does at a minute counted from the first midnight.
enum Deed {
    /// Eats grams of carbohydrate and injects for `judged` times as much.
    Meal { grams: f32, judged: f32 },
    /// Takes grams of fast sugar.
    Sugar(f32),
    /// Exercises for minutes, at an intensity from 0 to 1.
    Exercise(i32, f32),
    /// Pricks a finger.
    Fingerstick,
}

const fn at(day: u32, hour: u32, minute: u32) -> u32 {
    day * 1440 + hour * 60 + minute
}

/// The story: breakfasts are judged well; lunch and dinner are not. A fingerstick before meals and at bedtime.
const DEEDS: &[(u32, Deed)] = &[
    (at(0, 7, 15), Deed::Fingerstick),
    (at(0, 7, 30), Deed::Meal { grams: 45.0, judged: 1.0 }),
    (at(0, 12, 20), Deed::Fingerstick),
    (at(0, 12, 30), Deed::Meal { grams: 80.0, judged: 0.65 }),
    (at(0, 18, 50), Deed::Fingerstick),
    (at(0, 19, 0), Deed::Meal { grams: 70.0, judged: 1.3 }),
    (at(0, 22, 30), Deed::Fingerstick),
    (at(1, 7, 0), Deed::Fingerstick),
    (at(1, 7, 15), Deed::Meal { grams: 50.0, judged: 1.0 }),
    (at(1, 12, 45), Deed::Meal { grams: 75.0, judged: 1.4 }),
    (at(1, 18, 45), Deed::Fingerstick),
    (at(1, 19, 15), Deed::Meal { grams: 85.0, judged: 0.6 }),
    (at(1, 22, 45), Deed::Fingerstick),
    // this night the sensor is slept on
    (at(2, 7, 20), Deed::Fingerstick),
    (at(2, 7, 30), Deed::Meal { grams: 45.0, judged: 1.0 }),
    (at(2, 12, 30), Deed::Meal { grams: 60.0, judged: 1.1 }),
    // an hour and a quarter by bicycle, with insulin from lunch still at work
    (at(2, 14, 15), Deed::Exercise(75, 1.0)),
    (at(2, 18, 55), Deed::Fingerstick),
    (at(2, 19, 0), Deed::Meal { grams: 65.0, judged: 0.75 }),
    (at(2, 22, 30), Deed::Fingerstick),
    (at(3, 7, 10), Deed::Fingerstick),
    (at(3, 7, 20), Deed::Meal { grams: 50.0, judged: 1.0 }),
    (at(3, 12, 30), Deed::Meal { grams: 60.0, judged: 1.35 }),
    (at(3, 18, 50), Deed::Fingerstick),
    (at(3, 19, 0), Deed::Meal { grams: 90.0, judged: 0.6 }),
    (at(3, 22, 0), Deed::Fingerstick),
];

/// The sensor begins badly: it loses this share of its value at first, and less and less over these minutes.
const SETTLING: (f32, f32) = (0.22, 500.0);
/// The sensor is slept on: from, until, and the share of its value that is lost.
const PRESSED: (u32, u32, f32) = (at(2, 2, 41), at(2, 3, 15), 0.45);
/// The sensor is out of reach of its display.
const OUT_OF_REACH: (u32, u32) = (at(1, 14, 35), at(1, 16, 50));

/// The trace with the truth beside it in `plasma_mg_dl`, and the fingersticks.
pub fn generate() -> Result<(Trace, Fingersticks), Error> {
    let config = PersonConfig::DEFAULT
        .with_start(Instant::from_secs(START))
        .without_routine()
        .with_variability(0.5)?
        .with_resting_glucose(Glucose::from_mg_dl(125.0)?)?;
    let mut person = Person::new(PERSON, config);
    let mut sensor = Sensor::new(SENSOR, SensorModel::DRIFTING);
    let mut meter = Meter::new(METER, MeterModel::USUAL);
    let mut story = DEEDS.iter().peekable();
    let (mut readings, mut plasma, mut sticks) = (Vec::new(), Vec::new(), Vec::new());
    let mut lost = 0.0_f32;
    let mut since_sugar = 0;
    for minute in 0..DAYS * 1440 {
        let truth = person.truth();
        while let Some((_, deed)) = story.next_if(|(when, _)| *when <= minute) {
            act(deed, &mut person, &mut meter, &truth, &mut sticks);
        }
        // a low is felt and treated, later by night
        since_sugar += 1;
        let felt = if minute % 1440 < 7 * 60 { 55.0 } else { 60.0 };
        if truth.plasma().mg_dl() < felt && since_sugar > 20 {
            act(&Deed::Fingerstick, &mut person, &mut meter, &truth, &mut sticks);
            act(&Deed::Sugar(16.0), &mut person, &mut meter, &truth, &mut sticks);
            since_sugar = 0;
        }
        let pressed = (PRESSED.0..PRESSED.1).contains(&minute);
        lost += if pressed { (PRESSED.2 - lost) * 0.18 } else { -lost * 0.12 };
        if minute >= INSERTED {
            sensor.follow(&truth);
        }
        if minute % INTERVAL_MIN == 0
            && let Some(sample) = sensor.read()
            && !(OUT_OF_REACH.0..OUT_OF_REACH.1).contains(&minute)
        {
            let seen = sample.reading();
            let settling = SETTLING.0 * (-((minute - INSERTED) as f32) / SETTLING.1).exp();
            let value = (seen.glucose().mg_dl() * (1.0 - lost) * (1.0 - settling)).round().max(40.0);
            readings.push(Reading::new(seen.at(), Glucose::from_mg_dl(value)?).with_status(seen.status()));
            plasma.push(truth.plasma().mg_dl());
        }
        person.step(Span::from_mins(1));
    }
    let counts = |rows: usize| Counts { rows: rows as u64, ..Counts::default() };
    let trace = Trace {
        counts: counts(readings.len()),
        readings,
        columns: vec![Column { name: table::TRUTH, values: plasma }],
        interval_s: Some(INTERVAL_MIN * 60),
        ..Trace::default()
    };
    let sticks = Fingersticks { counts: counts(sticks.len()), values: sticks, ..Fingersticks::default() };
    Ok((trace, sticks))
}

/// Which person, sensor and meter of the simulated ones.
const PERSON: u64 = 8;
const SENSOR: u64 = 14;
const METER: u64 = 1;

fn act(deed: &Deed, person: &mut Person, meter: &mut Meter, truth: &Truth, sticks: &mut Vec<Fingerstick>) {
    match *deed {
        Deed::Meal { grams, judged } => {
            person.eat(grams);
            let correction = ((truth.plasma().mg_dl() - 120.0) / person.drop_per_unit_mg_dl()).max(0.0);
            person.inject(judged * (grams / person.grams_per_unit() + 0.5 * correction));
        }
        Deed::Sugar(grams) => person.take_sugar(grams),
        Deed::Exercise(minutes, intensity) => person.exercise(Span::from_mins(minutes), intensity),
        Deed::Fingerstick => sticks.push(meter.measure(truth)),
    }
}

/// The trace as a table like those the tool reads.
pub fn trace_csv(trace: &Trace) -> String {
    let mut out = "# invented: simulated by glidepath\ntime,glucose_mg_dl,plasma_mg_dl\n".to_owned();
    let truth = trace.column(table::TRUTH).unwrap_or_default();
    for (reading, plasma) in trace.readings.iter().zip(truth) {
        let time = trace.clock.iso(reading.at().secs().into());
        out += &format!("{time},{},{plasma:.1}\n", reading.glucose().whole_mg_dl());
    }
    out
}

/// The fingersticks as a table like those the tool reads.
pub fn fingersticks_csv(sticks: &Fingersticks) -> String {
    let mut out = "# invented: simulated by glidepath\ntime,reference_mg_dl\n".to_owned();
    for stick in &sticks.values {
        let time = sticks.clock.iso(stick.at().secs().into());
        out += &format!("{time},{}\n", stick.glucose().whole_mg_dl());
    }
    out
}
