//! What is known at a moment: for programs as JSON, for people in a few words. All of it is what the wrist would show.

use glidepath::alarm::{ActiveAlarm, MAX_VALUE_AGE, Ring};
use glidepath::quality::{Grade, Reason};
use glidepath::trend::Trend;
use glidepath::{Glucose, SideView};
use serde::Serialize;
use wrist::face::{Bound, Face, Matter, Now, RANGE_MG_DL, whole_minutes};
use wrist::words;

use super::sensors::Sensors;
use super::watch::{Counts, Watch};
use crate::played::words::{minutes, precise, trigger_words};
use crate::table::{Clock, Unit};

/// The answers at a moment. What is not known is null.
#[derive(Clone, Debug, Default, Serialize)]
pub struct Told {
    /// On the wearer's clock.
    pub time: String,
    /// What is shown as the present value; null when no value may be taken for that.
    pub glucose_mg_dl: Option<f64>,
    /// `at_most` or `at_least` when only that is known.
    pub bound: Option<&'static str>,
    pub doubted: bool,
    /// The estimate: not what is shown while another value rings, or the sensor is doubted.
    pub estimate_mg_dl: Option<f64>,
    /// One standard deviation of the estimate, the calibration's part included.
    pub sd_mg_dl: Option<f64>,
    /// How long ago the newest believed reading was measured.
    pub age_s: Option<i32>,
    pub trend: &'static str,
    pub rate_mg_dl_min: Option<f64>,
    pub rate_sd_mg_dl_min: Option<f64>,
    pub predicted_30min_mg_dl: Option<f64>,
    pub minutes_to_low: Option<u16>,
    pub low_probability_30min: Option<f64>,
    pub trust: &'static str,
    pub reasons: Vec<&'static str>,
    pub alarms: Vec<Alarm>,
    pub counts: Counts,
    /// What two sensors say beside it, when two are worn.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pair: Option<Pair>,
    /// In one sentence, as the wrist says it.
    pub words: String,
    #[serde(skip)]
    pub for_people: ForPeople,
}

/// How two sensors go together, and what each says by itself.
#[derive(Clone, Debug, Serialize)]
pub struct Pair {
    pub agreement: &'static str,
    /// The same in words.
    #[serde(skip)]
    words: &'static str,
    pub first: OfSide,
    pub second: OfSide,
}

/// What one of two sensors says.
#[derive(Clone, Debug, Serialize)]
pub struct OfSide {
    /// Its newest believed reading, calibrated, and how long ago that was measured; the latter null when nobody knows.
    pub glucose_mg_dl: Option<f64>,
    pub age_s: Option<i32>,
    /// How much of the value is this one's, 0 to 1.
    pub weight: Option<f64>,
    /// How far it is taken to read above glucose.
    pub offset_mg_dl: Option<f64>,
    pub reasons: Vec<&'static str>,
}

impl Pair {
    fn of<M: Sensors>(watch: &Watch<M>) -> Option<Self> {
        let [first, second] = watch.app().answers().and_then(M::each)?;
        let agreement = watch.app().agreement()?;
        Some(Self {
            agreement: agreement.name(),
            words: agreement.words(),
            first: OfSide::of(&first),
            second: OfSide::of(&second),
        })
    }

    /// The same for a screen: a row for each.
    fn rows(&self, unit: Unit) -> [(&'static str, String); 2] {
        [("1st sensor", self.first.in_words(unit)), ("2nd sensor", self.second.in_words(unit))]
    }
}

impl OfSide {
    fn of(view: &SideView) -> Self {
        Self {
            glucose_mg_dl: view.newest.and_then(|(_, glucose)| rounded(glucose.mg_dl(), 1)),
            age_s: view.age.map(|age| age.secs()),
            weight: rounded(view.weight, 2),
            offset_mg_dl: rounded(view.offset, 1),
            reasons: view.reasons.iter().map(Reason::name).collect(),
        }
    }

    fn in_words(&self, unit: Unit) -> String {
        let Some(value) = self.glucose_mg_dl.map(|value| unit.with_name(value as f32)) else {
            return "nothing yet".into();
        };
        let Some(age_s) = self.age_s else { return format!("{value}, nobody knows when") };
        let ago = ago(age_s.unsigned_abs() / 60);
        if age_s >= MAX_VALUE_AGE.secs() {
            return format!("silent; the last was {value}, {ago}");
        }
        let weighs = 100.0 * self.weight.unwrap_or(0.0);
        let reasons = self.reasons.join(", ").replace('_', " ");
        let but = if reasons.is_empty() { String::new() } else { format!(" ({reasons})") };
        format!("{value}, {ago}; counts {weighs:.0} %{but}")
    }
}

/// An alarm that holds, or rings.
#[derive(Clone, Debug, Serialize)]
pub struct Alarm {
    pub kind: &'static str,
    pub priority: &'static str,
    pub cause: &'static str,
    pub message: &'static str,
    pub reason: String,
    /// Acknowledged or snoozed.
    pub acknowledged: bool,
}

/// The same for a screen.
#[derive(Clone, Debug, Default)]
pub struct ForPeople {
    /// The value, or three strokes.
    pub figure: String,
    pub unit: &'static str,
    /// The one thing that matters beside it, if anything does.
    pub matter: Option<String>,
    /// A name and what is to be said under it.
    pub rows: Vec<(&'static str, String)>,
    /// Whether an alarm asks for attention.
    pub asks: bool,
}

impl Alarm {
    /// A ring in words.
    pub fn of(ring: &Ring, unit: Unit, acknowledged: bool) -> Self {
        Self {
            kind: ring.kind.name(),
            priority: ring.priority.name(),
            cause: ring.cause.name(),
            message: ring.kind.message(),
            reason: trigger_words(ring.trigger, unit),
            acknowledged,
        }
    }

    /// Its priority as marks, as on the wrist.
    pub fn marks(&self) -> &'static str {
        match self.priority {
            "high" => "!!!",
            "medium" => "!!",
            _ => "!",
        }
    }

    /// In one line.
    pub fn line(&self) -> String {
        let acknowledged = if self.acknowledged { "; seen" } else { "" };
        format!(
            "{} {} ({} priority): by {}{acknowledged}",
            self.marks(),
            self.message,
            self.priority,
            self.reason
        )
    }
}

fn rounded(value: f32, digits: i32) -> Option<f64> {
    let scale = 10_f64.powi(digits);
    value.is_finite().then(|| (f64::from(value) * scale).round() / scale)
}

impl Told {
    /// What `watch` knows at `stamp` on `clock`.
    pub fn of<M: Sensors>(watch: &Watch<M>, clock: &Clock, stamp: i64, unit: Unit) -> Self {
        let (face, view) = (watch.face(), watch.app().view());
        let figure = face.figure();
        // neither while nothing may be taken for the present value
        let sure = face.current().filter(|now| !now.doubted && now.bound.is_none());
        let estimate = view.filter(|_| sure.is_some()).and_then(|view| {
            let estimate = view.estimate()?;
            Some((estimate.glucose(), estimate.glucose_sd().hypot(view.calibration_sd()?)))
        });
        let present = face.current().filter(|now| now.rate.is_some());
        let rate = present.and_then(|now| now.rate);
        let ahead = view.filter(|_| present.is_some());
        let held = |held: &ActiveAlarm| Alarm::of(&held.ring, unit, held.acknowledged);
        let mut told = Self {
            time: clock.iso(stamp),
            glucose_mg_dl: figure.and_then(|now| rounded(now.glucose.mg_dl(), 1)),
            bound: figure.and_then(|now| now.bound).map(|bound| match bound {
                Bound::AtMost => "at_most",
                Bound::AtLeast => "at_least",
            }),
            doubted: figure.is_some_and(|now| now.doubted),
            estimate_mg_dl: estimate.and_then(|(glucose, _)| rounded(glucose.mg_dl(), 1)),
            sd_mg_dl: estimate.and_then(|(_, sd)| rounded(sd, 1)),
            age_s: face.age.map(|age| age.secs()),
            trend: ahead.map_or(Trend::NotKnown, |view| view.trend()).words(),
            rate_mg_dl_min: rate.and_then(|(rate, _)| rounded(rate.mg_dl_per_min(), 2)),
            rate_sd_mg_dl_min: rate.and_then(|(_, sd)| rounded(sd, 2)),
            predicted_30min_mg_dl: ahead
                .and_then(|view| view.predicted_30min())
                .and_then(|p| rounded(p.glucose().mg_dl(), 1)),
            minutes_to_low: present.and_then(|now| now.low_in_min),
            low_probability_30min: ahead.and_then(|view| view.low_probability()).and_then(|p| rounded(p, 3)),
            trust: view.map_or("not known", |view| trust(view.grade())),
            reasons: view.map(|view| view.reasons().iter().map(Reason::name).collect()).unwrap_or_default(),
            alarms: view.map(|view| view.alarms().iter().map(held).collect()).unwrap_or_default(),
            counts: watch.counts(),
            pair: Pair::of(watch),
            words: words::sentence(&face).as_str().to_owned(),
            for_people: ForPeople::default(),
        };
        told.for_people = told.in_words(&face, figure, estimate, unit);
        told
    }

    fn in_words(
        &self,
        face: &Face<'_>,
        figure: Option<Now>,
        estimate: Option<(Glucose, f32)>,
        unit: Unit,
    ) -> ForPeople {
        let value = figure.map(|now| {
            let bound = match now.bound {
                Some(Bound::AtMost) => "<",
                Some(Bound::AtLeast) => ">",
                None => "",
            };
            format!("{bound}{}{}", unit.show(now.glucose.mg_dl()), if now.doubted { "?" } else { "" })
        });
        let mut rows = Vec::new();
        if let Some((glucose, sd)) = estimate {
            let other = figure.is_none_or(|now| now.glucose != glucose);
            let of = if other { format!("estimated {} ", unit.show(glucose.mg_dl())) } else { String::new() };
            rows.push(("uncertainty", format!("{of}± {} (two in three lie within)", unit.with_name(sd))));
        }
        rows.push((
            "direction",
            match self.rate_mg_dl_min {
                Some(rate) => {
                    let sign = if rate < 0.0 { "−" } else { "+" };
                    format!("{}, {sign}{} a minute", self.trend, precise(unit, rate.abs()))
                }
                None => "not known".into(),
            },
        ));
        rows.push(("measured", measured(face)));
        let is_low = figure.is_some_and(|now| now.glucose.mg_dl() < RANGE_MG_DL[0]);
        rows.push(("low ahead", if is_low { "it is low now".into() } else { self.low_ahead() }));
        let note = if face.note.is_empty() { String::new() } else { format!(": {}", face.note) };
        match &self.pair {
            None => rows.push(("sensor", format!("{}{note}", self.trust))),
            Some(pair) => {
                rows.push(("sensors", format!("{}{note}; {}", self.trust, pair.words)));
                rows.extend(pair.rows(unit));
            }
        }
        ForPeople {
            figure: value.unwrap_or_else(|| "---".into()),
            unit: unit.name(),
            matter: face.matter().and_then(|matter| matters(matter, face, unit)),
            rows,
            asks: face.alert.is_some(),
        }
    }

    fn low_ahead(&self) -> String {
        let chance = self.low_probability_30min.map(|chance| {
            let chance = (chance * 100.0).round();
            if chance < 1.0 { "under 1 %".to_owned() } else { format!("{chance:.0} %") }
        });
        match (self.minutes_to_low, chance) {
            (Some(minutes), Some(chance)) => format!("in about {minutes} min; chance within 30 min {chance}"),
            (Some(minutes), None) => format!("in about {minutes} min"),
            (None, Some(chance)) => format!("chance within 30 min {chance}"),
            (None, None) => "not known".into(),
        }
    }

    /// In one plain line.
    pub fn line(&self) -> String {
        let ForPeople { figure, unit, matter, rows, .. } = &self.for_people;
        let said: Vec<String> = rows.iter().map(|(name, what)| format!("{name} {what}")).collect();
        let matter = matter.as_ref().map_or_else(String::new, |matter| format!(" {matter};"));
        format!("{} {figure} {unit};{matter} {}", self.time, said.join("; "))
    }
}

fn trust(grade: Grade) -> &'static str {
    match grade {
        Grade::Good => "trusted",
        Grade::Fair => "trusted with care",
        Grade::Poor => "confirm with a fingerstick",
        Grade::Unusable => "not to be trusted",
    }
}

fn measured(face: &Face<'_>) -> String {
    match face.age.map(whole_minutes) {
        Some(whole) => ago(whole),
        None if face.last.is_some() => "nobody knows when".into(),
        None => "nothing yet".into(),
    }
}

fn ago(whole_min: u32) -> String {
    match whole_min {
        0 => "less than a minute ago".into(),
        whole => format!("{} ago", minutes(whole as f32)),
    }
}

fn matters(matter: Matter, face: &Face<'_>, unit: Unit) -> Option<String> {
    let last =
        face.last.map_or_else(String::new, |last| format!(", the last was {}", unit.with_name(last.mg_dl())));
    let doubt = |doubted| if doubted { ", but doubted" } else { "" };
    Some(match matter {
        Matter::Nothing => "WAITING: no reading has come yet".into(),
        Matter::Undated => format!("NO VALUE: nobody knows how old the last is{last}"),
        Matter::TooOld => format!("TOO OLD: no present value{last}"),
        // of a wrist with a radio
        Matter::Unheard(why) => {
            format!("{}: no sensor is listened to{last}", why.title().unwrap_or_default())
        }
        Matter::VeryLow { doubted } => format!("VERY LOW{}", doubt(doubted)),
        Matter::Low { doubted } => format!("LOW{}", doubt(doubted)),
        Matter::Doubted => "DOUBTED: confirm with a fingerstick".into(),
        // told below
        Matter::LowIn(_) => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::live::watch::Present;
    use crate::table::Taken;
    use glidepath::{Instant, Monitor, PairMonitor, Reading, Settings, Side};
    use wrist::app::{PAIR_READINGS, READINGS};

    const T0: u32 = 1_800_000_000;

    /// What is told `later` seconds after the last of readings every five minutes.
    fn told(values: &[f32], later: u32) -> Told {
        let last = T0 + 300 * (values.len() as u32 - 1);
        let present = |stamp: u32| Present { ms: u64::from(stamp - T0) * 1000, stamp: stamp.into(), lead: 0 };
        let mut watch = Watch::<Monitor<READINGS>>::new(Settings::default(), 0).unwrap();
        for (n, value) in values.iter().enumerate() {
            let at = Instant::from_secs(T0 + 300 * n as u32);
            let reading = Some(Reading::new(at, Glucose::from_mg_dl(*value).unwrap()));
            watch.row(Side::First, &Taken { at, reading, stick: None }, false, present(last + later));
        }
        watch.begin(present(last + later));
        Told::of(&watch, &Clock::default(), i64::from(last + later), Unit::MgDl)
    }

    fn row<'a>(told: &'a Told, name: &str) -> Option<&'a str> {
        told.for_people.rows.iter().find(|(row, _)| *row == name).map(|(_, what)| what.as_str())
    }

    #[test]
    fn a_doubted_value_has_no_deviation_beside_it() {
        let mut values: Vec<f32> = (0..40).map(|n| 120.0 + [0.0, 2.0, 3.0, 1.0][n % 4]).collect();
        let calm = told(&values, 0);
        assert!(!calm.doubted && calm.sd_mg_dl.is_some() && calm.estimate_mg_dl.is_some());
        assert!(row(&calm, "uncertainty").is_some_and(|what| what.contains("two in three")));
        values.push(300.0);
        let doubted = told(&values, 0);
        assert!(doubted.doubted && doubted.glucose_mg_dl == Some(300.0), "{doubted:?}");
        assert_eq!((doubted.sd_mg_dl, doubted.estimate_mg_dl), (None, None));
        assert_eq!(row(&doubted, "uncertainty"), None);
        assert!(doubted.for_people.figure.ends_with('?'));
    }

    #[test]
    fn ages_are_told_in_minutes_hours_or_days() {
        const MINUTE: u32 = 60;
        for (later, said) in [
            (59, "less than a minute ago"),
            (60, "1 min ago"),
            (10 * MINUTE + 59, "10 min ago"),
            (89 * MINUTE, "89 min ago"),
            (3 * 60 * MINUTE, "3.0 h ago"),
            (3 * 1440 * MINUTE, "3 days ago"),
            (451_198 * MINUTE, "313 days ago"),
        ] {
            let told = told(&[120.0; 20], later);
            assert_eq!(row(&told, "measured"), Some(said));
            assert!(told.line().contains(&format!("measured {said}")), "{}", told.line());
        }
    }

    #[test]
    fn a_silence_is_told_aloud_in_minutes_hours_or_days() {
        const MINUTE: u32 = 60;
        for (later, said) in [
            (45, "45 minutes"),
            (119, "119 minutes"),
            (120, "2 hours"),
            (239, "3 hours"),
            (47 * 60 + 59, "47 hours"),
            (48 * 60, "2 days"),
            (451_198, "313 days"),
        ] {
            let told = told(&[120.0; 20], later * MINUTE);
            assert_eq!(told.words, format!("Alarm: no readings. No present value, silent for {said}."));
            assert_eq!(told.age_s, Some((later * MINUTE).cast_signed()));
        }
    }

    #[test]
    fn of_two_sensors_it_is_told_how_they_go_together_and_what_each_reads() {
        let at = |minute: u32| T0 + 60 * minute;
        let present =
            |minute: u32| Present { ms: u64::from(minute) * 60_000, stamp: at(minute).into(), lead: 0 };
        let of_two = |second_until: u32| {
            let mut watch = Watch::<PairMonitor<PAIR_READINGS>>::new(Settings::default(), 0).unwrap();
            for minute in (0..=200).step_by(5) {
                for (side, value) in [(Side::First, 118.0), (Side::Second, 124.0)] {
                    if side == Side::First || minute <= second_until {
                        let at = Instant::from_secs(at(minute));
                        let value = value + [0.0, 3.0, 1.0, 2.0][minute as usize / 5 % 4];
                        let reading = Some(Reading::new(at, Glucose::from_mg_dl(value).unwrap()));
                        watch.row(side, &Taken { at, reading, stick: None }, false, present(200));
                    }
                }
            }
            watch.begin(present(200));
            Told::of(&watch, &Clock::default(), at(200).into(), Unit::MgDl)
        };
        let both = of_two(200);
        let value = both.glucose_mg_dl.unwrap();
        assert!(value > 118.0 && value < 124.0, "{value}");
        assert_eq!(row(&both, "sensors"), Some("trusted; the sensors agree"), "{both:?}");
        assert_eq!(row(&both, "sensor"), None);
        let first = row(&both, "1st sensor").unwrap();
        assert!(first.starts_with("118 mg/dL, less than a minute ago; counts 5"), "{first}");
        let json = serde_json::to_value(&both).unwrap();
        assert_eq!(json["pair"]["agreement"], "together");
        assert_eq!(
            (&json["pair"]["first"]["glucose_mg_dl"], &json["pair"]["first"]["age_s"]),
            (&118.0.into(), &0.into())
        );
        let weight = |side: &str| json["pair"][side]["weight"].as_f64().unwrap();
        assert!((weight("first") + weight("second") - 1.0).abs() < 0.02, "{json}");

        let one = of_two(150);
        assert_eq!(one.pair.as_ref().unwrap().agreement, "only_first");
        assert_eq!(row(&one, "2nd sensor"), Some("silent; the last was 125 mg/dL, 50 min ago"));
        assert!(row(&one, "1st sensor").unwrap().ends_with("; counts 100 %"), "{one:?}");
        assert!(serde_json::to_value(told(&[120.0; 20], 0)).unwrap().get("pair").is_none());
    }
}
