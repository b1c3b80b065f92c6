//! What the alarms would have done to people: all low rules together, by the limit of the low-ahead rule; the others; and
//! a limit that follows what a person accepts.

use glidepath::alarm::{AdaptiveLimit, AlarmPlan, AlarmSettings, Kind};
use glidepath::{Error, Instant, Monitor, Probability, Reading, Settings, Span};
use rayon::prelude::*;

use super::Fitted;
use crate::failure::Failure;
use crate::people::least::quantile;
use crate::people::{Person, Set, everyone};
use crate::progress::Progress;

/// Limits of the low-ahead rule that are tried.
const LIMITS: [f32; 8] = [0.28, 0.3, 0.32, 0.34, 0.36, 0.38, 0.4, 0.44];
/// The lowest limit is chosen with no more false low alarms a day than this.
const ACCEPTED: f64 = 0.75;
/// False alarms a week that a person may accept.
const ASKED: [f32; 4] = [2.0, 3.0, 5.0, 7.0];
const HOUR_S: u32 = 3600;
/// A low, or an alarm about lows, is a new one after so long without.
const QUIET_S: u32 = 1800;
/// A warning is this early at least.
const AHEAD_S: u32 = 600;
/// A silence longer than this is not lived through.
const LONGEST_S: u32 = 86_400;
/// The kinds that are told of one by one.
const OTHERS: [Kind; 3] = [Kind::High, Kind::NoData, Kind::Doubt];

/// What rang for some people, by day and by night.
#[derive(Clone, Copy, Default)]
struct Rung {
    days: f64,
    lows: [f64; 2],
    caught: [f64; 2],
    warned: [f64; 2],
    /// Rings of floor, low and low ahead, and false ones among those that are new.
    rings: [f64; 2],
    cried: [f64; 2],
    others: [[f64; 2]; OTHERS.len()],
}

impl Rung {
    fn add(&mut self, other: &Self) {
        self.days += other.days;
        for half in 0..2 {
            self.lows[half] += other.lows[half];
            self.caught[half] += other.caught[half];
            self.warned[half] += other.warned[half];
            self.rings[half] += other.rings[half];
            self.cried[half] += other.cried[half];
            for (sum, more) in self.others.iter_mut().zip(&other.others) {
                sum[half] += more[half];
            }
        }
    }

    fn of<'a>(each: impl IntoIterator<Item = &'a Self>) -> Self {
        let mut sum = Self::default();
        each.into_iter().for_each(|one| sum.add(one));
        sum
    }

    fn a_day(&self, halves: [f64; 2]) -> f64 {
        (halves[0] + halves[1]) / self.days.max(1e-9)
    }

    fn cried_a_day(&self) -> f64 {
        self.a_day(self.cried)
    }

    fn share(&self, of: [f64; 2]) -> f64 {
        (of[0] + of[1]) / (self.lows[0] + self.lows[1]).max(1.0)
    }

    fn line(&self) -> String {
        let night = |of: [f64; 2]| of[1] / self.lows[1].max(1.0);
        format!(
            "{:.2}, {:.3}, {:.3}; {:.2}, {:.3}, {:.3}; {:.2}, {:.2}",
            self.cried_a_day(),
            self.share(self.caught),
            self.share(self.warned),
            self.cried[1] / self.days.max(1e-9),
            night(self.caught),
            night(self.warned),
            self.a_day(self.rings),
            self.rings[1] / self.days.max(1e-9)
        )
    }
}

/// Plays each person by each limit, and by each number of false alarms that is asked for.
pub fn measure(sets: &[Set]) -> Result<Fitted, Failure> {
    let people = everyone(sets);
    if people.iter().map(|person| person.days()).sum::<f64>() < 5.0 {
        return Err(Failure::new("too few readings, expected five days"));
    }
    let standard = AlarmSettings::default();
    let limited = |limit: f32| {
        let limit = Probability::new(limit).map_err(failed)?;
        let mut settings = standard;
        settings.low_ahead.limit = limit;
        Ok(settings)
    };
    let progress = Progress::new("ringing", (LIMITS.len() + ASKED.len() + 1) as u64);
    let played = |settings: AlarmSettings, asked: Option<f32>| {
        let each = people.par_iter().map(|person| play(person, settings, asked));
        each.collect::<Result<Vec<Rung>, Failure>>()
    };
    let mut by_limit = Vec::new();
    for (n, value) in LIMITS.into_iter().enumerate() {
        progress.at(n as u64);
        by_limit.push(played(limited(value)?, None)?);
    }
    let shipped = played(standard, None)?;
    let mut lines = vec![
        "\nAll low rules together (floor, low, low ahead), by the limit of low ahead, the rest as shipped. Each ring is \
         acknowledged; false: new, and no reading under 70 mg/dL in the hour after. False a day, caught by the first low \
         reading, warned 10 min ahead; the same of the night (22:00 to 07:00); rings a day, of them at night:"
            .to_owned(),
    ];
    for (value, each) in LIMITS.iter().zip(&by_limit) {
        lines.push(format!("  {value:.2}: {}", Rung::of(each).line()));
    }
    let all = Rung::of(&shipped);
    lines.push(format!("  as shipped, {:.2}: {}", standard.low_ahead.limit.get(), all.line()));
    lines.extend(left_out(sets, &by_limit));
    lines.push("\nThe others as shipped, rings a day, of them at night:".into());
    for (kind, rings) in OTHERS.iter().zip(all.others) {
        let name = kind.name().replace('_', " ");
        lines.push(format!("  {name}: {:.2}, {:.2}", all.a_day(rings), rings[1] / all.days.max(1e-9)));
    }
    lines.push("\nFalse low alarms a week of a person, 10th, 50th, 90th of 100; all, caught, warned:".into());
    lines.push(format!("  as shipped: {}", weekly(&shipped)));
    for (n, asked) in ASKED.into_iter().enumerate() {
        progress.at((LIMITS.len() + 1 + n) as u64);
        lines.push(format!("  {asked} asked for: {}", weekly(&played(standard, Some(asked))?)));
    }
    Ok(Fitted { sources: Vec::new(), figures: lines })
}

/// The limit that the others choose, judged on each set.
fn left_out(sets: &[Set], by_limit: &[Vec<Rung>]) -> Vec<String> {
    if sets.len() < 2 {
        return Vec::new();
    }
    let mut lines = vec![format!(
        "The lowest limit with no more than {ACCEPTED} false a day on the other sets, on the set left out:"
    )];
    let (mut from, mut sum) = (0, Rung::default());
    for set in sets {
        let within = from..from + set.people.len();
        let sums = by_limit.iter().map(|each| {
            let others = each.iter().enumerate().filter(|(n, _)| !within.contains(n)).map(|(_, one)| one);
            Rung::of(others).cried_a_day()
        });
        let chosen = sums.into_iter().position(|cried| cried <= ACCEPTED).unwrap_or(LIMITS.len() - 1);
        let judged = Rung::of(&by_limit[chosen][within.clone()]);
        lines.push(format!("  {}, {:.2}: {}", set.name, LIMITS[chosen], judged.line()));
        sum.add(&judged);
        from = within.end;
    }
    lines.push(format!("  all: {}", sum.line()));
    lines
}

fn failed(error: Error) -> Failure {
    Failure::new(format!("the alarms' settings: {error}"))
}

fn weekly(each: &[Rung]) -> String {
    let mut weekly: Vec<f64> = each.iter().map(|one| 7.0 * one.cried_a_day()).collect();
    let [low, middle, high] = [0.1, 0.5, 0.9].map(|share| quantile(&mut weekly, share));
    let all = Rung::of(each);
    let (caught, warned) = (all.share(all.caught), all.share(all.warned));
    format!("{low:.1}, {middle:.1}, {high:.1}; {:.1}, {caught:.3}, {warned:.3}", 7.0 * all.cried_a_day())
}

/// Plays a person minute by minute; with `asked`, by a limit that follows it.
fn play(person: &Person, settings: AlarmSettings, asked: Option<f32>) -> Result<Rung, Failure> {
    let plan = |settings| AlarmPlan::new(settings).map_err(failed);
    let mut burden = asked.map(AdaptiveLimit::new).transpose().map_err(failed)?;
    let mut monitor = Monitor::<288>::new(Settings::default().with_alarms(plan(settings)?))
        .map_err(|error| Failure::new(format!("the monitor's settings: {error}")))?;
    let mut rang: Vec<(u32, Kind)> = Vec::new();
    let mut now: Option<u32> = None;
    for reading in &person.readings {
        let at = reading.at().secs();
        // minutes of silence, a day of them at most, and then the reading
        let silent = now.map_or(at..at, |now| now.saturating_add(60)..at.min(now.saturating_add(LONGEST_S)));
        for minute in silent.step_by(60).chain([at]) {
            let newest = (minute == at).then_some(reading);
            monitor.set_uptime(minute);
            let view = match newest {
                Some(reading) => {
                    monitor.set_utc_offset(Some(Span::from_secs(person.lead())));
                    monitor.push(reading)
                }
                None => monitor.tick(Instant::from_secs(minute)),
            };
            let before = rang.len();
            rang.extend(view.rings().iter().map(|ring| (minute, ring.kind)));
            if let Some(burden) = &mut burden {
                let (was, lows) =
                    (burden.limit(), rang[before..].iter().any(|(_, kind)| kind.info().warns_of_low));
                burden.step(Instant::from_secs(minute), newest.map(Reading::glucose), lows);
                if burden.limit() != was {
                    let mut moved = settings;
                    moved.low_ahead = burden.rule(settings.low_ahead);
                    monitor.set_alarm_plan(plan(moved)?);
                }
            }
            if rang.len() > before {
                monitor.acknowledge();
            }
        }
        now = Some(at);
    }
    Ok(judge(person, &rang))
}

fn judge(person: &Person, rang: &[(u32, Kind)]) -> Rung {
    let half = |at: u32| usize::from(person.rings_by_night(at));
    let low: Vec<u32> = person
        .readings
        .iter()
        .filter(|reading| reading.glucose().mg_dl() < 70.0)
        .map(|reading| reading.at().secs())
        .collect();
    let mut rung = Rung { days: person.days(), ..Rung::default() };
    let mut last: Option<u32> = None;
    let mut warns_of_low = Vec::new();
    for &(at, kind) in rang {
        if let Some(n) = OTHERS.iter().position(|other| *other == kind) {
            rung.others[n][half(at)] += 1.0;
        }
        // a steep fall is off
        if !kind.info().warns_of_low {
            continue;
        }
        rung.rings[half(at)] += 1.0;
        let new = last.is_none_or(|last| at - last > QUIET_S);
        let newest = at.saturating_sub(300);
        let next = low.get(low.partition_point(|time| *time < newest));
        if new && next.is_none_or(|time| *time > at.saturating_add(HOUR_S)) {
            rung.cried[half(at)] += 1.0;
        }
        last = Some(at);
        warns_of_low.push(at);
    }
    for (n, start) in low.iter().enumerate() {
        if n > 0 && start - low[n - 1] <= QUIET_S {
            continue;
        }
        let rang_by = |end: u32| {
            let from = start.saturating_sub(HOUR_S);
            warns_of_low.get(warns_of_low.partition_point(|at| *at < from)).is_some_and(|at| *at <= end)
        };
        rung.lows[half(*start)] += 1.0;
        rung.caught[half(*start)] += f64::from(u8::from(rang_by(*start)));
        rung.warned[half(*start)] += f64::from(u8::from(rang_by(start.saturating_sub(AHEAD_S))));
    }
    rung
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Clock;
    use glidepath::Glucose;

    /// A reading every five minutes; under 70 from the minutes on, for a quarter of an hour.
    fn person(lows: &[u32]) -> Person {
        let reading = |n: u32| {
            let low = lows.iter().any(|from| (*from..from + 15).contains(&(5 * n)));
            Reading::new(
                Instant::from_secs(300 * n),
                Glucose::from_mg_dl(if low { 60.0 } else { 100.0 }).unwrap(),
            )
        };
        Person {
            set: String::new(),
            name: String::new(),
            readings: (0..288).map(reading).collect(),
            references: Vec::new(),
            clock: Clock::default(),
        }
    }

    #[test]
    fn rings_are_early_in_time_late_or_false() {
        let rang = |minutes: &[u32]| minutes.iter().map(|m| (60 * m, Kind::LowAhead)).collect::<Vec<_>>();
        // by night until 420: warned at 100, caught at 595, missed at 800; false at 300 and not again at 320
        let rung = judge(&person(&[110, 600, 800]), &rang(&[100, 300, 320, 595]));
        assert_eq!((rung.lows, rung.caught, rung.warned), ([2.0, 1.0], [1.0, 1.0], [0.0, 1.0]));
        assert_eq!((rung.cried, rung.rings), ([0.0, 1.0], [1.0, 3.0]));
    }
}
