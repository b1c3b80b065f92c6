//! Rows into the order of time, one for each second.

use glidepath::{Instant, Reading, Status};

use super::stamp::{self, Clock, SetBack};
use super::{ClockChange, Counts};

/// A row as read.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Seconds since 1970.
    pub at: i64,
    /// Where it stands in the file.
    pub line: u64,
    /// Glucose; not a number when blank.
    pub glucose: f32,
    /// What the cell said besides a number.
    pub status: Status,
    /// The offset from UTC that its time names, seconds.
    pub offset: Option<i32>,
}

impl Row {
    /// When it was.
    pub fn instant(&self) -> Option<Instant> {
        u32::try_from(self.at).ok().map(Instant::from_secs)
    }
}

/// The usual interval: the median of the steps that go forward, seconds.
pub fn usual_interval(times: impl Iterator<Item = i64>) -> Option<u32> {
    let mut previous = None;
    let mut steps: Vec<u32> = Vec::new();
    for at in times {
        if let Some(before) = previous.replace(at)
            && at > before
        {
            steps.push(u32::try_from(at - before).unwrap_or(u32::MAX));
        }
    }
    let middle = steps.len() / 2;
    (!steps.is_empty()).then(|| *steps.select_nth_unstable(middle).1)
}

/// Orders the rows and returns the places of those to keep, oldest first; counts what it met.
///
/// With `detect_set_back`, rows of a clock without a zone are corrected where that clock was set back by an
/// hour.
pub fn settle(rows: &mut [Row], clock: &mut Clock, counts: &mut Counts, detect_set_back: bool) -> Vec<usize> {
    let forward = rows.windows(2).filter(|pair| pair[1].at > pair[0].at).count();
    let backward = rows.windows(2).filter(|pair| pair[1].at < pair[0].at).count();
    // a file without any order is not newest first
    counts.newest_first = backward > 2 * forward;
    let mut order: Vec<usize> = (0..rows.len()).collect();
    if counts.newest_first {
        order.reverse();
    }
    if let Clock::Own(set_back) = clock
        && detect_set_back
        && forward.min(backward) > 0
    {
        *set_back = correct_set_back(rows, &order);
        counts.clock_set_back = set_back.len() as u64;
        counts.clock_changes.extend(
            set_back
                .iter()
                .map(|change| ClockChange { at: stamp::iso(change.from - change.seconds), forward: false }),
        );
    }
    let mut newest = i64::MIN;
    for &index in &order {
        let at = rows[index].at;
        counts.out_of_order += u64::from(at < newest);
        newest = newest.max(at);
    }
    order.retain(|&index| {
        let blank = rows[index].glucose.is_nan();
        counts.blank += u64::from(blank);
        !blank
    });
    if counts.out_of_order > 0 {
        order.sort_by_key(|&index| rows[index].at);
    }
    if let Clock::Stamped(changes) = clock
        && changes.is_empty()
    {
        for row in order.iter().map(|&index| &rows[index]) {
            let offset = row.offset.unwrap_or(0);
            if changes.last().is_none_or(|(_, last)| *last != offset) {
                changes.push((row.at, offset));
            }
        }
    }
    keep_first(rows, &mut order, counts);
    order
}

/// Keeps of several rows of one second the first in the file's order of time.
fn keep_first(rows: &[Row], order: &mut Vec<usize>, counts: &mut Counts) {
    let mut kept: Option<Row> = None;
    order.retain(|&index| {
        let row = rows[index];
        match kept.filter(|kept| kept.at == row.at) {
            Some(same) if same.glucose == row.glucose && same.status == row.status => {
                counts.exact_repeats += 1;
                false
            }
            Some(_) => {
                counts.conflicting_stamps += 1;
                false
            }
            None => {
                kept = Some(row);
                true
            }
        }
    });
}

const HOUR: i64 = 3600;

/// Looks for an hour that is missing where clocks are set forward: in the small hours of a Sunday of spring, in the
/// north or the south (common practice, no source). A clock with a zone knows of it.
pub fn look_for_clock_changes(
    readings: &[Reading],
    interval_s: Option<u32>,
    clock: &Clock,
    counts: &mut Counts,
) {
    let Some(usual) = interval_s.map(i64::from).filter(|_| !clock.names_zone()) else { return };
    // a reading may come a little early or late
    let slack = (usual / 2).clamp(60, 600);
    for pair in readings.windows(2) {
        let (before, after) = (i64::from(pair[0].at().secs()), i64::from(pair[1].at().secs()));
        if (after - before - HOUR - usual).abs() > slack {
            continue;
        }
        let wall = clock.wall(before);
        let day = stamp::date(wall.div_euclid(86_400));
        let spring = matches!(day.month(), 3 | 4 | 9 | 10);
        let at_night = wall.rem_euclid(86_400) < 4 * HOUR;
        // the last reading may be of the evening before
        let sunday = stamp::date((wall + HOUR).div_euclid(86_400)).weekday() == jiff::civil::Weekday::Sunday;
        if spring && sunday && (at_night || wall.rem_euclid(86_400) >= 23 * HOUR) {
            counts.clock_changes.push(ClockChange { at: stamp::iso(wall), forward: true });
        }
    }
}

/// Finds where the clock was set back by an hour: the time steps back by about an hour, that hour had its
/// readings already, and the rows go on from there past where they were. Moves what follows.
fn correct_set_back(rows: &mut [Row], order: &[usize]) -> Vec<SetBack> {
    let mut set_back: Vec<SetBack> = Vec::new();
    let usual = i64::from(usual_interval(order.iter().map(|&i| rows[i].at)).unwrap_or(300));
    let mut shift = 0;
    for n in 1..order.len() {
        let before = rows[order[n - 1]].at;
        rows[order[n]].at += shift;
        let here = rows[order[n]].at;
        // without the change this row would be `ahead` seconds after the one before
        let ahead = here + HOUR - before;
        if here >= before || !(1..=HOUR / 2).contains(&ahead) {
            continue;
        }
        let had = order[..n].iter().rev().take_while(|&&i| rows[i].at >= here).count() as i64;
        let mut last = here;
        let goes_on = order[n + 1..]
            .iter()
            .map(|&i| rows[i].at + shift)
            .take_while(|&at| at > std::mem::replace(&mut last, at) && at - here < HOUR)
            .count() as i64;
        let expected = (HOUR / usual).max(1);
        if had * 2 >= expected && goes_on * 2 >= expected && last > before {
            shift += HOUR;
            rows[order[n]].at += HOUR;
            set_back.push(SetBack { from: rows[order[n]].at, seconds: shift });
        }
    }
    set_back
}
