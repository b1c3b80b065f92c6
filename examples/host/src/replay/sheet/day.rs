//! One day: alarms, glucose, rate and the probability of a low, over a common clock.

use glidepath::alarm::{Cause, Priority};
use glidepath::{Agreement, Instant, Side};

use super::super::Replay;
use super::{DAY, Day};
use crate::played::{Answers, Sample};
use crate::sheet::{Axis, Chart, Mark, Panel, Scale};
use crate::table::Unit;

/// Points of a line in a day's drawing; more would not be seen …
const MOST_POINTS: usize = 320;
/// … and so many in one of many days, so that the sheet stays light.
const FEWER_POINTS: usize = 150;
/// Days from which on they are many.
const MANY_DAYS: usize = 15;

/// A number of a sample.
type Value = fn(&Sample, &Answers) -> f32;

/// A point with what lies two standard deviations under and over it.
type Spread = (f64, f64, f64);

/// What a day's panels are drawn from.
struct Drawing<'a> {
    replay: &'a Replay,
    samples: &'a [Sample],
    midnight: i64,
    /// The samples that lines go through, by the second of the day.
    few: Vec<(f64, &'a Sample, &'a Answers)>,
    /// Lines break at longer steps, seconds.
    longest: f64,
    x: Axis,
}

/// Draws a day, one of `days`, whose glucose goes up to `top` mg/dL.
pub fn draw(replay: &Replay, day: &Day, days: usize, top: f64, unit: Unit) -> Chart {
    let midnight = day.number * DAY;
    let most = if days < MANY_DAYS { MOST_POINTS } else { FEWER_POINTS };
    let every = stride(day.samples, most);
    let second = |sample: &Sample| (replay.wall(sample.reading.at()) - midnight) as f64;
    let drawing = Drawing {
        replay,
        samples: day.samples,
        midnight,
        few: few(day.samples, every, second),
        longest: replay.longest * every as f64,
        x: hours_shown(day, days, second),
    };
    let (lanes, alarms) = drawing.alarms();
    let name = day.name();
    let description = format!(
        "Glucose through {name}: the sensor's readings, the estimated blood glucose with its uncertainty, {alarms} \
         alarms, the rate of change and the probability of a low."
    );
    let mut chart = Chart::new(&day.id(), &name, &description, drawing.x.clone());
    chart.push(lanes);
    chart.push(drawing.glucose(top, unit, 300.0));
    chart.extend(drawing.trusted());
    chart.push(drawing.rate(unit));
    chart.push(drawing.chance());
    chart
}

/// Draws the last 24 hours of a trace: its glucose and its alarms.
pub fn last(replay: &Replay, top: f64, unit: Unit) -> Chart {
    let end = replay.samples.last().map_or(0, |sample| replay.wall(sample.reading.at()));
    let midnight = end.div_euclid(DAY) * DAY;
    let second = |sample: &Sample| (replay.wall(sample.reading.at()) - midnight) as f64;
    let to = (end - midnight) as f64;
    let from = replay.samples.first().map_or(to, second).max(to - DAY as f64);
    let first = replay.samples.partition_point(|sample| second(sample) < from);
    let samples = replay.samples.get(first..).unwrap_or_default();
    let every = stride(samples, MOST_POINTS);
    let drawing = Drawing {
        replay,
        samples,
        midnight,
        few: few(samples, every, second),
        longest: replay.longest * every as f64,
        x: Axis::clock(from, to),
    };
    let (lanes, alarms) = drawing.alarms();
    let description = format!("The last 24 hours: the sensor's readings, the estimate and {alarms} alarms.");
    let mut chart = Chart::new("last-hours", "The last 24 hours", &description, drawing.x.clone());
    chart.push(drawing.glucose(top, unit, 210.0));
    chart.extend(drawing.trusted());
    chart.push(lanes);
    chart
}

impl Drawing<'_> {
    /// A moment's second of the day, if it is in what is drawn of it.
    fn second(&self, at: Instant) -> Option<f64> {
        let second = (self.replay.wall(at) - self.midnight) as f64;
        self.x.holds(second).then_some(second)
    }

    fn points(&self, value: Value) -> impl Iterator<Item = (f64, f64)> {
        let points = self.few.iter().map(move |(x, sample, answers)| (*x, f64::from(value(sample, answers))));
        points.filter(|(_, y)| y.is_finite())
    }

    fn spread(&self, value: Value, sd: fn(&Answers) -> f32) -> Vec<Spread> {
        let points = self
            .few
            .iter()
            .map(|(x, sample, answers)| (*x, f64::from(value(sample, answers)), f64::from(sd(answers))));
        let known = points.filter(|(_, value, sd)| value.is_finite() && sd.is_finite());
        known.map(|(x, value, sd)| (x, value - 2.0 * sd, value + 2.0 * sd)).collect()
    }

    fn alarms(&self) -> (Panel, usize) {
        let mut panel =
            Panel::new(34.0, &self.x, Axis::labelled(-0.7, 2.7, &[(1.0, "alarms")]), "").reading(Scale::None);
        let mut begun = 0;
        for rang in &self.replay.alarms {
            let Some(at) = self.second(rang.at) else { continue };
            let (lane, mut mark) = match rang.priority {
                Priority::High => (2.0, Mark::High),
                Priority::Medium => (1.0, Mark::Medium),
                Priority::Low => (0.0, Mark::Low),
            };
            if rang.cause == Cause::New {
                begun += 1;
            } else {
                mark = Mark::Again;
            }
            let (kind, priority) = (rang.kind.message(), rang.priority.name());
            panel.mark(mark, at, lane, &format!("{} {kind} ({priority} priority)", hours(at)));
        }
        (panel, begun)
    }

    fn glucose(&self, top: f64, unit: Unit, height: f64) -> Panel {
        let mut panel = glucose_panel(&self.x, top, unit, height);
        let (replay, longest) = (self.replay, self.longest);
        for (from, to) in replay.gaps.iter().copied() {
            let (from, to) = (replay.wall(from) - self.midnight, replay.wall(to) - self.midnight);
            let (from, to) = ((from as f64).max(self.x.low), (to as f64).min(self.x.high));
            if from < to {
                panel.stretch(from, to, "no readings");
            }
        }
        for rang in &replay.alarms {
            if let Some(at) = self.second(rang.at)
                && (rang.cause, rang.priority) == (Cause::New, Priority::High)
            {
                panel.upright("alarm", at);
            }
        }
        panel.band("outer", &self.spread(|s, _| s.plasma, |a| a.plasma_sd), longest);
        panel.band("plasma", &self.spread(|s, _| s.plasma, |a| a.own_sd), longest);
        let value = |sample: &Sample| f64::from(sample.reading.glucose().mg_dl());
        for (class, side) in [("beside", Side::Second), ("sensor", Side::First)] {
            let own = self.few.iter().filter(|(_, sample, _)| !sample.is_doubted() && sample.side() == side);
            panel.dots(class, own.map(|(x, sample, _)| (*x, value(sample))));
        }
        panel.line("truth", self.points(|s, _| s.truth), longest);
        panel.line("plasma", self.points(|s, _| s.plasma), longest);
        let doubtful = self.samples.iter().filter(|sample| sample.is_doubted());
        panel.dots("doubtful", doubtful.filter_map(|s| Some((self.second(s.reading.at())?, value(s)))));
        for pricked in &replay.pricked {
            let Some(at) = self.second(pricked.stick.at()) else { continue };
            let value = pricked.stick.glucose().mg_dl();
            let sign = if pricked.used { Mark::Fingerstick } else { Mark::Refused };
            let words = format!("{} fingerstick {}", hours(at), unit.with_name(value));
            panel.mark(sign, at, f64::from(value), &words);
        }
        panel
    }

    /// Which of two sensors is trusted when.
    fn trusted(&self) -> Option<Panel> {
        self.replay.second?;
        let y = Axis::labelled(-0.2, 1.7, &[(0.0, "second"), (1.0, "first")]);
        let mut panel = Panel::new(52.0, &self.x, y, "trusted");
        let both = || self.few.iter().filter_map(|(x, sample, _)| Some((*x, sample.beside.as_deref()?)));
        let (mut apart, mut errs) = (Vec::new(), Vec::new());
        for ((from, beside), (to, _)) in both().zip(both().skip(1)) {
            if to - from > self.longest {
                continue;
            }
            match beside.agreement {
                Agreement::Apart => apart.push((from, to, -0.2, 1.2)),
                Agreement::Suspect(Side::First) => errs.push((from, to, 0.5, 1.2)),
                Agreement::Suspect(Side::Second) => errs.push((from, to, -0.2, 0.5)),
                _ => {}
            }
        }
        panel.bars("apart", apart);
        panel.bars("errs", errs);
        panel.line("weight", both().map(|(x, beside)| (x, f64::from(beside.first_weight))), self.longest);
        Some(panel)
    }

    fn rate(&self, unit: Unit) -> Panel {
        let tenth = 0.1 * f64::from(Unit::MmolL.in_mg_dl());
        let y = match unit {
            Unit::MgDl => Axis::labelled(-4.0, 4.0, &[(-2.0, "−2"), (0.0, "0"), (2.0, "2")]),
            Unit::MmolL => Axis::labelled(-4.0, 4.0, &[(-tenth, "−0.1"), (0.0, "0"), (tenth, "0.1")]),
        };
        let mut panel = Panel::new(60.0, &self.x, y, &format!("rate, {}/min", unit.name()));
        panel.rule("zero", 0.0);
        panel.band("rate", &self.spread(|_, a| a.rate, |a| a.rate_sd), self.longest);
        panel.line("rate", self.points(|_, a| a.rate), self.longest);
        panel
    }

    fn chance(&self) -> Panel {
        let y = Axis::labelled(0.0, 1.0, &[(0.0, "0"), (1.0, "100")]);
        let mut panel = Panel::new(40.0, &self.x, y, "low within 30 min, %");
        panel.area("chance", self.points(|_, a| a.low_probability), self.longest);
        panel.line("chance", self.points(|_, a| a.low_probability), self.longest);
        panel
    }
}

/// One in `every` of the samples, with its second and its answers, which a sheet is drawn from only where they are kept.
fn few(samples: &[Sample], every: usize, second: impl Fn(&Sample) -> f64) -> Vec<(f64, &Sample, &Answers)> {
    let drawn = samples.iter().step_by(every);
    drawn.filter_map(|sample| Some((second(sample), sample, sample.answers.as_deref()?))).collect()
}

/// Every which sample is drawn: an odd one where those of two sensors take turns, so that both are.
fn stride(samples: &[Sample], most: usize) -> usize {
    let every = samples.len().div_ceil(most).max(1);
    if samples.iter().any(|sample| sample.beside.is_some()) { every | 1 } else { every }
}

/// The whole day, so that days compare; of a trace of one day only the hours it has.
fn hours_shown(day: &Day, days: usize, second: impl Fn(&Sample) -> f64) -> Axis {
    const HOUR: f64 = 3600.0;
    match (days, day.samples) {
        (1, [first, .., last]) => {
            let (from, to) = ((second(first) / HOUR).floor(), (second(last) / HOUR).ceil());
            Axis::clock(from * HOUR, to.max(from + 1.0) * HOUR)
        }
        _ => Axis::clock(0.0, DAY as f64),
    }
}

fn hours(second: f64) -> String {
    let minute = (second / 60.0) as i64;
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

fn glucose_panel(x: &Axis, top: f64, unit: Unit, height: f64) -> Panel {
    // the published pairs, not conversions
    let mut ticks = match unit {
        Unit::MgDl => vec![(70.0, "70"), (180.0, "180"), (250.0, "250")],
        Unit::MmolL => vec![(70.0, "3.9"), (180.0, "10.0"), (250.0, "13.9")],
    };
    match (unit, top) {
        (Unit::MgDl, 350.0..) => ticks.push((350.0, "350")),
        (Unit::MmolL, 350.0..) => ticks.push((360.312, "20.0")),
        _ => {}
    }
    let y = Axis::labelled(30.0, top, &ticks);
    let mut panel = Panel::new(height, x, y, unit.name()).reading(Scale::Glucose(unit));
    panel.zone("range", 70.0, 180.0);
    panel.zone("low", 30.0, 70.0);
    panel.rule("low", 54.0);
    panel
}
