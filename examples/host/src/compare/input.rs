//! What is compared: sensors as worn, fingersticks, and whether they can belong together.

use std::path::Path;

use glidepath::accuracy::CostPart;
use glidepath::{Fingerstick, Instant, Reading, Span};

use super::Args;
use crate::failure::Failure;
use crate::table::{self, Clock, Counts, Fingersticks, Unit};

/// What no meter shows is a slip of the pen, mg/dL (common practice, no source: meters end at 10 to 20 and at 600).
const METER_RANGE: std::ops::RangeInclusive<f32> = 10.0..=700.0;

/// One sensor as it was worn.
#[derive(Clone, Debug)]
pub struct Worn {
    pub name: String,
    /// In order of time.
    pub readings: Vec<Reading>,
    pub interval: Span,
    pub clock: Clock,
    /// When each sensor of that name was put on, in order of time; never empty.
    pub starts: Vec<Instant>,
    pub parts: Vec<CostPart>,
    pub delivery: Span,
    /// Given by the user to correct for.
    pub lag: Span,
    pub counts: Counts,
}

impl Worn {
    /// A sensor that was put on at its first reading.
    pub fn new(name: String, readings: Vec<Reading>, interval: Span, clock: Clock) -> Self {
        let start = readings.first().map_or(Instant::from_secs(0), Reading::at);
        Self {
            name,
            readings,
            interval,
            clock,
            starts: vec![start],
            parts: Vec::new(),
            delivery: Span::ZERO,
            lag: Span::ZERO,
            counts: Counts::default(),
        }
    }

    /// When the sensor worn at `at` was put on, and when the next one was.
    pub fn wear(&self, at: Instant) -> (Instant, Option<Instant>) {
        let next = self.starts.partition_point(|start| *start <= at);
        let start = self.starts[next.saturating_sub(1)];
        (start, self.starts.get(next.max(1)).copied())
    }

    pub fn first(&self) -> Instant {
        self.readings.first().map_or(Instant::from_secs(0), Reading::at)
    }

    pub fn last(&self) -> Instant {
        self.readings.last().map_or(Instant::from_secs(0), Reading::at)
    }
}

/// Everything that is compared.
#[derive(Debug)]
pub struct Study {
    pub sensors: Vec<Worn>,
    pub reference: Option<Vec<Fingerstick>>,
    pub meter: Option<Vec<Fingerstick>>,
    /// What the reader should know about the input.
    pub notes: Vec<String>,
    /// Invented, with the truth known.
    pub invented: bool,
    /// The first sensor's.
    pub unit: Unit,
}

pub fn named(text: &str) -> Result<(String, String), String> {
    match text.split_once('=') {
        Some((name, value)) if !name.trim().is_empty() && !value.is_empty() => {
            Ok((name.trim().to_owned(), value.to_owned()))
        }
        _ => Err("expected a name, an equals sign and a value, such as left=left.csv".into()),
    }
}

pub fn hours(text: &str) -> Result<f32, String> {
    bounded(text, 0.0, 24.0 * 90.0, "a number of hours from 0 to 2160")
}

pub fn minutes(text: &str) -> Result<f32, String> {
    bounded(text, 0.0, 60.0, "a number of minutes from 0 to 60")
}

fn bounded(text: &str, low: f32, high: f32, what: &str) -> Result<f32, String> {
    let value = text.parse::<f32>().ok().filter(|value| (low..=high).contains(value));
    value.ok_or_else(|| format!("expected {what}"))
}

/// Reads everything that `args` names.
pub fn read(args: &Args) -> Result<Study, Failure> {
    let mut sensors: Vec<Worn> = Vec::new();
    let mut unit = None;
    let mut own = Vec::new();
    for (name, file) in &args.sensors {
        if sensors.iter().any(|sensor| sensor.name == *name) {
            return Err(Failure::new(format!(
                "--sensor {name}: two sensors have this name, expected one each"
            )));
        }
        let trace = table::read_trace(Path::new(file), &args.input, &[])?;
        let interval = trace.interval_s.unwrap_or(300).clamp(30, 3600);
        let interval = Span::from_secs(i32::try_from(interval).unwrap_or(300));
        unit.get_or_insert(trace.unit);
        own.extend(trace.fingersticks);
        let mut worn = Worn::new(name.clone(), trace.readings, interval, trace.clock);
        worn.counts = trace.counts;
        sensors.push(worn);
    }
    let unit = unit.unwrap_or_default();
    let odd = |sensor: &Worn| Some(format!("{}: {}", sensor.name, sensor.counts.in_words()?));
    let mut notes: Vec<String> = sensors.iter().filter_map(odd).collect();
    let reference = match &args.reference {
        Some(path) => Some(reference(path, args, &sensors, &mut notes)?),
        None if !own.is_empty() => {
            notes.push("Judged by the traces' own column reference_mg_dl.".into());
            own.sort_by_key(Fingerstick::at);
            own.dedup_by_key(|stick| stick.at());
            Some(own)
        }
        None if sensors.len() < 2 => {
            return Err(Failure::new(
                "one sensor alone cannot be compared, expected --reference FILE or a second --sensor NAME=FILE",
            ));
        }
        None => None,
    };
    let meter = match &args.meter {
        Some(path) => Some(sticks(path, args, &sensors, &mut notes)?.values),
        None => None,
    };
    if meter.is_some() && reference.is_none() {
        return Err(Failure::new("--meter: there is nothing to judge it by, expected --reference FILE"));
    }
    for other in sensors.iter().skip(1) {
        let first = &sensors[0];
        same_clock(&first.name, &first.clock, &other.name, &other.clock)?;
        let (from, to) = (first.first().max(other.first()), first.last().min(other.last()));
        if reference.is_none() && from > to {
            return Err(Failure::new(format!(
                "{} runs from {} to {} and {} from {} to {}: no time in common",
                first.name,
                when(first, first.first()),
                when(first, first.last()),
                other.name,
                when(other, other.first()),
                when(other, other.last()),
            )));
        }
    }
    Ok(Study { sensors, reference, meter, notes, invented: false, unit })
}

fn when(sensor: &Worn, at: Instant) -> String {
    sensor.clock.iso(at.secs().into())
}

fn reference(
    path: &Path,
    args: &Args,
    sensors: &[Worn],
    notes: &mut Vec<String>,
) -> Result<Vec<Fingerstick>, Failure> {
    let read = sticks(path, args, sensors, notes)?;
    let (Some(first), Some(last)) = (read.values.first(), read.values.last()) else {
        return Err(Failure::file(path, "no row has a value, expected fingersticks"));
    };
    let step = |times: &mut dyn Iterator<Item = u32>| {
        let times: Vec<u32> = times.collect();
        let mut steps: Vec<u32> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
        steps.sort_unstable();
        steps.get(steps.len() / 2).copied().unwrap_or(u32::MAX)
    };
    let reference_step = step(&mut read.values.iter().map(|value| value.at().secs()));
    for sensor in sensors {
        let sensor_step = step(&mut sensor.readings.iter().map(|reading| reading.at().secs()));
        if sensor_step >= 3600 && reference_step <= 900 {
            return Err(Failure::file(
                path,
                format!(
                    "has a value every {} min and sensor {} only one every {} h: the two seem swapped, expected \
                     --sensor NAME=TRACE and --reference FINGERSTICKS",
                    reference_step / 60,
                    sensor.name,
                    sensor_step / 3600,
                ),
            ));
        }
    }
    if sensors.iter().all(|sensor| last.at() < sensor.first() || first.at() > sensor.last()) {
        let spans: Vec<_> = sensors
            .iter()
            .map(|s| format!("{} from {} to {}", s.name, when(s, s.first()), when(s, s.last())))
            .collect();
        return Err(Failure::file(
            path,
            format!(
                "runs from {} to {}, {}: no time in common",
                read.clock.iso(first.at().secs().into()),
                read.clock.iso(last.at().secs().into()),
                spans.join(" and "),
            ),
        ));
    }
    Ok(read.values)
}

fn sticks(
    path: &Path,
    args: &Args,
    sensors: &[Worn],
    notes: &mut Vec<String>,
) -> Result<Fingersticks, Failure> {
    let mut read = table::read_fingersticks(path, &args.input)?;
    for sensor in sensors {
        same_clock(&sensor.name, &sensor.clock, &path.display().to_string(), &read.clock)?;
    }
    if let Some(first) = sensors.first().filter(|first| matches!(first.clock, Clock::Own(_))) {
        // set back where the trace shows it
        read = table::read_fingersticks_beside(path, &args.input, &first.clock)?;
    }
    let clock = read.clock.clone();
    read.values.retain(|value| {
        let shown = METER_RANGE.contains(&value.glucose().mg_dl());
        if !shown {
            notes.push(format!(
                "{}: the value {:.1} mg/dL at {} is none a meter shows (typed wrong?), and is left out",
                path.display(),
                value.glucose().mg_dl(),
                clock.iso(value.at().secs().into()),
            ));
        }
        shown
    });
    Ok(read)
}

fn same_clock(a: &str, a_clock: &Clock, b: &str, b_clock: &Clock) -> Result<(), Failure> {
    let zoned = Clock::names_zone;
    if zoned(a_clock) == zoned(b_clock) {
        return Ok(());
    }
    let (with, without) = if zoned(a_clock) { (a, b) } else { (b, a) };
    Err(Failure::new(format!(
        "the times of {with} name a zone and those of {without} do not, expected --zone to say which they are in"
    )))
}

/// What the flags say of each sensor.
pub fn settings(study: &mut Study, args: &Args) -> Result<(), Failure> {
    let sensors = &mut study.sensors;
    for (name, value) in &args.costs {
        let parts = value.split('+').map(part).collect::<Option<Vec<_>>>().ok_or_else(|| {
            Failure::new(format!(
                "--cost {name}={value}: expected a price, a slash and days, such as {name}=42/14"
            ))
        })?;
        find(sensors, "--cost", name)?.parts.extend(parts);
    }
    for (name, value) in &args.deliveries {
        find(sensors, "--delivery", name)?.delivery = span("--delivery", name, value)?;
    }
    for (name, value) in &args.lags {
        find(sensors, "--correct-lag", name)?.lag = span("--correct-lag", name, value)?;
    }
    for (name, value) in &args.starts {
        let worn = find(sensors, "--start", name)?;
        let stamp = table::parse_time(value.as_bytes());
        let at =
            stamp.and_then(|stamp| worn.clock.instant(stamp, None)).and_then(|at| u32::try_from(at).ok());
        let at = at.ok_or_else(|| {
            Failure::new(format!("--start {name}={value}: expected a time as in the trace, such as {}", {
                worn.clock.iso(worn.first().secs().into())
            }))
        })?;
        if at > worn.last().secs() {
            let last = worn.clock.iso(worn.last().secs().into());
            return Err(Failure::new(format!("--start {name}={value}: is after the last reading, {last}")));
        }
        // the first one given stands for the default
        if worn.starts.len() == 1 && worn.starts[0] == worn.first() {
            worn.starts.clear();
        }
        worn.starts.push(Instant::from_secs(at));
        worn.starts.sort_unstable();
    }
    Ok(())
}

fn find<'a>(sensors: &'a mut [Worn], flag: &str, name: &str) -> Result<&'a mut Worn, Failure> {
    let names = sensors.iter().map(|sensor| sensor.name.as_str()).collect::<Vec<_>>().join(", ");
    sensors.iter_mut().find(|sensor| sensor.name == name).ok_or_else(|| {
        Failure::new(format!("{flag} {name}: no sensor has this name, expected one of {names}"))
    })
}

fn span(flag: &str, name: &str, value: &str) -> Result<Span, Failure> {
    let minutes = value.parse::<f32>().ok().filter(|minutes| (0.0..=60.0).contains(minutes));
    let minutes = minutes.ok_or_else(|| {
        Failure::new(format!("{flag} {name}={value}: expected a number of minutes from 0 to 60"))
    })?;
    Ok(Span::from_secs((minutes * 60.0).round() as i32))
}

fn part(text: &str) -> Option<CostPart> {
    let (price, days) = text.split_once('/')?;
    CostPart::new(price.trim().parse().ok()?, days.trim().parse().ok()?).ok()
}
