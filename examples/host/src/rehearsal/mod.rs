//! A rehearsal of alarm settings: what they would have done in the weeks of a trace.

pub mod score;
mod sheet;
mod vary;

use std::path::{Path, PathBuf};

use glidepath::{Settings, Span};
use serde::Serialize;

use crate::failure::Failure;
use crate::played::Traces;
use crate::settings;
use crate::table::count;
use score::Score;
pub use sheet::draw;
use vary::Variation;

/// The flags of a rehearsal.
#[derive(clap::Args, Clone, Debug)]
pub struct AlarmArgs {
    /// Settings (TOML); `glidepath settings` prints a file with every key, its default and its range
    #[arg(long, value_name = "FILE", alias = "profile", help_heading = "Alarms")]
    settings: Option<PathBuf>,

    /// Also rehearse with other values of one setting, such as low.limit=65,70,75 (of alarms.base) or
    /// alarms.profiles[0].high.on=true,false; may be given again
    #[arg(long, value_name = "KEY=VALUE,...", help_heading = "Alarms")]
    vary: Vec<String>,

    /// An alarm about lows is true when a low follows within this many minutes
    #[arg(long, value_name = "MIN", default_value_t = 60, value_parser = clap::value_parser!(u32).range(5..=240),
        help_heading = "Alarms")]
    window: u32,
}

impl Default for AlarmArgs {
    fn default() -> Self {
        Self { settings: None, vary: Vec::new(), window: 60 }
    }
}

/// What a rehearsal yields.
#[derive(Clone, Debug, Serialize)]
pub struct Rehearsal {
    /// The settings file; null for the defaults.
    pub settings: Option<String>,
    #[serde(flatten)]
    pub score: Score,
    /// The same with other values of one setting.
    pub variations: Vec<Variation>,
    /// Whether two sensors were worn.
    #[serde(skip)]
    two: bool,
}

/// What is to be rehearsed.
pub struct Plan {
    args: AlarmArgs,
    table: toml::Table,
    pub settings: Settings,
}

impl Plan {
    /// Reads and checks the settings, and each of their variations.
    pub fn of(args: &AlarmArgs) -> Result<Self, Failure> {
        let table = args.settings.as_deref().map_or(Ok(toml::Table::new()), settings::read)?;
        let settings = settings::load(&table).map_err(|refused| match &args.settings {
            Some(path) => Failure::file(path, refused),
            None => Failure::new(refused.to_string()),
        })?;
        let plan = Self { args: args.clone(), table, settings };
        vary::plans(&plan.args.vary, &plan.table)?;
        Ok(plan)
    }

    /// The same for settings at hand, without variations.
    ///
    /// # Errors
    /// When a setting is refused; its place is named.
    pub fn with(table: toml::Table) -> Result<Self, settings::Refused> {
        Ok(Self { args: AlarmArgs::default(), settings: settings::load(&table)?, table })
    }

    /// The settings file.
    pub fn file(&self) -> Option<&Path> {
        self.args.settings.as_deref()
    }

    /// How long after an alarm a low must follow.
    pub fn window(&self) -> Span {
        Span::from_mins(i32::try_from(self.args.window).unwrap_or(60))
    }

    /// Whether settings or variations were asked about.
    pub fn is_asked(&self) -> bool {
        self.args.settings.is_some() || !self.args.vary.is_empty()
    }

    /// Replays the traces once more for each variation.
    pub fn rehearse(&self, score: Score, traces: &Traces<'_>) -> Result<Rehearsal, Failure> {
        let variations = vary::rehearse(&self.args.vary, &self.table, traces, self.window())?;
        let settings = self.args.settings.as_ref().map(|path| path.display().to_string());
        let two = traces.second.is_some();
        Ok(Rehearsal { settings, score, variations, two })
    }
}

fn were(n: u64) -> String {
    format!("{n} {}", if n == 1 { "was" } else { "were" })
}

impl Rehearsal {
    /// The results in plain words, a thought a line.
    pub fn in_words(&self) -> Vec<String> {
        let score = &self.score;
        let mut words = vec![match score.alarms_per_day {
            Some(rate) => format!(
                "Rehearsed over {:.1} days of readings{}: {rate:.1} alarms a day; something rang in {} of {} nights (22:00 to 07:00).",
                score.days,
                self.settings.as_ref().map(|p| format!(" with {p}")).unwrap_or_default(),
                score.nights_woken,
                score.nights
            ),
            None => "There are no readings to rehearse with.".into(),
        }];
        let told = |kind: &score::KindScore| {
            let mut out = format!("{} {}", kind.alarms, kind.kind.replace('_', " "));
            if let (Some(right), Some(wrong)) = (kind.true_alarms, kind.false_alarms) {
                out += &format!(" ({right} true, {wrong} false");
                if let Some(warning) = kind.median_warning_min {
                    let when = if warning < 0.0 { "after it began" } else { "before" };
                    out += &format!(", in the middle {:.0} min {when}", warning.abs());
                }
                out += ")";
            }
            out
        };
        let rung: Vec<String> = score.kinds.iter().filter(|kind| kind.alarms > 0).map(told).collect();
        if !rung.is_empty() {
            words.push(format!("Alarms, first rings only: {}.", rung.join("; ")));
        }
        if score.lows > 0 {
            words.push(format!(
                "Of {}, {} warned of before it began, {} by ten minutes or more. True means: a low by {} held or followed within {} minutes (a high{}, for alarms about highs).",
                count(score.lows, "low"),
                were(score.lows_warned),
                score.lows_warned_10_min,
                if self.two { "the readings of either sensor" } else { "the sensor's readings" },
                score.window_min,
                if self.two { " by both as they weigh" } else { "" },
            ));
        }
        words.extend(self.variations.iter().map(|variation| variation.in_words(score)));
        words
    }
}
