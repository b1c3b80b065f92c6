//! What a replay yields as a table, row by row.

use std::fmt::{self, Write as _};
use std::io::{self, Write};

use glidepath::alarm::Kind;

use super::{Beside, Sample};
use crate::fixed::Fixed;
use crate::table::Clock;

/// How many digits after the point numbers have in a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Digits {
    /// Those that say something.
    Telling,
    /// As many as it takes for reading them back to give the same bits.
    All,
}

/// A number in a table: so many digits after the point, nothing when it is not known.
struct Cell(f32, Option<usize>);

impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.0.is_finite(), self.1) {
            (false, _) => Ok(()),
            (true, Some(digits)) => match Fixed::of(self.0, digits) {
                Some(short) => f.write_str(short.as_str()),
                None => write!(f, "{:.digits$}", self.0),
            },
            (true, None) => write!(f, "{}", self.0),
        }
    }
}

/// The header of the samples' table.
pub const HEADER: &str = "time,sensor_mg_dl,plasma_mg_dl,plasma_sd_mg_dl,rate_mg_dl_min,rate_sd_mg_dl_min,trend,\
    predicted_30min_mg_dl,predicted_30min_sd_mg_dl,low_probability_30min,minutes_to_low,verdict,alarms,\
    predicted_15min_mg_dl,predicted_15min_sd_mg_dl,predicted_60min_mg_dl,predicted_60min_sd_mg_dl,low_ahead_signal,\
    direction_mg_dl_min";

/// What follows the header when two sensors are worn.
pub const HEADER_OF_TWO: &str = ",side,agreement,first_weight,first_offset_mg_dl,second_offset_mg_dl,\
    first_predicted_30min_mg_dl,first_predicted_30min_sd_mg_dl,second_predicted_30min_mg_dl,\
    second_predicted_30min_sd_mg_dl";

/// Writes as CSV the samples whose answers are kept.
pub fn write_csv(samples: &[Sample], clock: &Clock, digits: Digits, out: &mut dyn Write) -> io::Result<()> {
    let cell = |value: f32, telling: usize| Cell(value, (digits == Digits::Telling).then_some(telling));
    let two = samples.iter().any(|sample| sample.beside.is_some());
    writeln!(out, "{HEADER}{}", if two { HEADER_OF_TWO } else { "" })?;
    let mut line = String::new();
    for (sample, answers) in samples.iter().filter_map(|sample| Some((sample, sample.answers.as_ref()?))) {
        line.clear();
        let [in_15, in_30, in_60] = [15, 30, 60].map(|minutes| answers.predicted(minutes));
        let _ = write!(
            line,
            "{},{},{},{},{},{},{},{},{},{},{},{},",
            clock.iso(sample.reading.at().secs().into()),
            cell(sample.reading.glucose().mg_dl(), 1),
            cell(sample.plasma, 2),
            cell(answers.plasma_sd, 2),
            cell(answers.rate, 3),
            cell(answers.rate_sd, 3),
            answers.trend.words(),
            cell(in_30.0, 2),
            cell(in_30.1, 2),
            cell(answers.low_probability, 4),
            cell(answers.minutes_to_low, 1),
            sample.verdict.name(),
        );
        let mut parted = "";
        for kind in Kind::ALL.iter().filter(|kind| sample.rang & (1 << (**kind as u16)) != 0) {
            let _ = write!(line, "{parted}{}", kind.name());
            parted = ";";
        }
        let _ = write!(
            line,
            ",{},{},{},{},{},{}",
            cell(in_15.0, 2),
            cell(in_15.1, 2),
            cell(in_60.0, 2),
            cell(in_60.1, 2),
            cell(answers.low_ahead_signal, 4),
            cell(answers.direction, 3),
        );
        if let Some(&Beside { side, agreement, first_weight, offsets, predicted }) = sample.beside.as_deref()
        {
            let _ = write!(line, ",{},{},{}", side.name(), agreement.name(), cell(first_weight, 3));
            for offset in offsets {
                let _ = write!(line, ",{}", cell(offset, 2));
            }
            for (value, sd) in predicted {
                let _ = write!(line, ",{},{}", cell(value, 2), cell(sd, 2));
            }
        }
        line.push('\n');
        out.write_all(line.as_bytes())?;
    }
    Ok(())
}
