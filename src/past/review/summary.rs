//! All figures of a record or of a pool, each `None` while there is too little for it.

use super::days::DaySums;
use super::episodes::EpisodeRule;
use super::formula::{ea1c_percent, gmi_percent, gri, j_index};
use super::lagged::Differences;
use super::path::Path;
use super::pattern::{self, MAX_P_VALUE, Pattern};
use super::ranges::{Ranges, Tally};
use super::risk::Risk;
use super::spells::EpisodeTotal;
use super::sums::Sums;
use super::swings::Counted;
use crate::codec::{Codec, Coded};

/// What is added reading by reading and is never open.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Running {
    pub(super) values: Sums,
    pub(super) tally: Tally,
    pub(super) risk: Risk,
    pub(super) path: Path,
    /// Readings marked as under and over the sensor's range.
    pub(super) beyond: [u32; 2],
}

impl Running {
    pub(super) fn add(&mut self, other: &Self) {
        self.values.add(&other.values);
        self.tally.add(&other.tally);
        self.risk.add(&other.risk);
        self.path.add(&other.path);
        for (mine, theirs) in self.beyond.iter_mut().zip(other.beyond) {
            *mine = mine.saturating_add(theirs);
        }
    }
}

/// Every sum of closed records.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Totals {
    pub(super) running: Running,
    pub(super) differences: Differences,
    pub(super) swings: Counted,
    pub(super) days: DaySums,
    pub(super) episodes: [EpisodeTotal; 6],
    /// Seconds from the first reading to one interval after the last.
    pub(super) span: u64,
}

impl Totals {
    pub(super) fn add(&mut self, other: &Self) {
        self.running.add(&other.running);
        self.differences.add(&other.differences);
        self.swings.add(&other.swings);
        self.days.add(&other.days);
        for (mine, theirs) in self.episodes.iter_mut().zip(&other.episodes) {
            mine.add(theirs);
        }
        self.span = self.span.saturating_add(other.span);
    }

    pub(super) fn patterns(&self) -> [Option<Pattern>; 3] {
        pattern::clearest(&self.days, MAX_P_VALUE)
    }

    pub(super) fn summary(&self, sd_by_clock: Option<f32>) -> Summary {
        let Running { values, tally, risk, path, beyond } = &self.running;
        let (mean, sd) = (values.mean(), values.sd());
        let [lbgi, hbgi, m_value] = risk.means(values.n).map_or([None; 3], |means| means.map(Some));
        let [mage_rises, mage_falls, mage] = sd.map_or([None; 3], |sd| self.swings.means(sd));
        let [conga_1h, conga_2h, conga_4h, conga_24h] = self.differences.conga();
        let by_readings = tally.by_readings();
        Summary {
            readings: values.n,
            below_sensor_range: beyond[0],
            above_sensor_range: beyond[1],
            days: self.span as f32 / 86_400.0,
            whole_days: self.days.whole_days(),
            active_percent: (self.span > 0).then(|| 100.0 * tally.covered() as f32 / self.span as f32),
            mean_mg_dl: mean,
            sd_mg_dl: sd,
            cv_percent: mean.zip(sd).filter(|(mean, _)| *mean > 0.0).map(|(mean, sd)| 100.0 * sd / mean),
            gmi_percent: mean.map(gmi_percent),
            ea1c_percent: mean.map(ea1c_percent),
            by_readings,
            by_time: tally.by_time(),
            gri: by_readings.as_ref().map(gri),
            lbgi,
            hbgi,
            m_value,
            j_index: mean.zip(sd).map(|(mean, sd)| j_index(mean, sd)),
            mage_mg_dl: mage,
            mage_rises_mg_dl: mage_rises,
            mage_falls_mg_dl: mage_falls,
            modd_mg_dl: self.differences.modd(),
            conga_1h,
            conga_2h,
            conga_4h,
            conga_24h,
            gvp_percent: path.gvp(),
            mag_mg_dl_h: path.mag(),
            sd_within_day: self.days.sd_within(),
            sd_between_day_means: self.days.sd_of_means(),
            sd_by_clock,
            episodes: self.episodes,
        }
    }
}

impl Coded for Running {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { values, tally, risk, path, beyond } = self;
        values.code(codec);
        tally.code(codec);
        risk.code(codec);
        path.code(codec);
        beyond.iter_mut().for_each(|count| count.code(codec));
    }
}

impl Coded for Totals {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { running, differences, swings, days, episodes, span } = self;
        running.code(codec);
        differences.code(codec);
        swings.code(codec);
        days.code(codec);
        episodes.iter_mut().for_each(|total| total.code(codec));
        codec.long(span);
    }
}

/// The figures of a review. Glucose in mg/dL; SDs have the divisor n − 1.
///
/// Feature `defmt` gives `Format`.
///
/// # Memory
/// 340 bytes; working it out takes about 3 kB of stack.
///
/// # Examples
/// ```
/// use glidepath::review::{Config, EpisodeRule, Review};
/// let summary = Review::new(Config::default()).summary();
/// assert_eq!(summary.gmi_percent, None); // nothing read: nothing said, not 0
/// for (rule, total) in EpisodeRule::ALL.iter().zip(summary.episodes) {
///     assert!(rule.needed().secs() >= 900 && total.count == 0);
/// }
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Summary {
    /// Readings counted.
    pub readings: u32,
    /// Of these, marked as under the sensor's range; they count with the value they came with.
    pub below_sensor_range: u32,
    /// Of these, marked as over the sensor's range.
    pub above_sensor_range: u32,
    /// Days from the first reading to one interval after the last.
    pub days: f32,
    /// Local days with at least 70 % of their readings.
    pub whole_days: u32,
    /// Share of that time covered by readings, percent: each stands for the time to the next, up to one and a half
    /// intervals, else for one interval.
    pub active_percent: Option<f32>,
    /// Mean of all readings.
    pub mean_mg_dl: Option<f32>,
    /// Standard deviation of all readings.
    pub sd_mg_dl: Option<f32>,
    /// Coefficient of variation. Stable up to 36 (Battelino et al. 2019; Monnier et al. 2017, Diabetes Care 40:832).
    pub cv_percent: Option<f32>,
    /// See [`gmi_percent`].
    pub gmi_percent: Option<f32>,
    /// See [`ea1c_percent`].
    pub ea1c_percent: Option<f32>,
    /// Ranges, each reading counting once.
    pub by_readings: Option<Ranges>,
    /// Ranges, each reading counting for the time it stands for.
    pub by_time: Option<Ranges>,
    /// See [`gri`]; from the ranges by readings.
    pub gri: Option<f32>,
    /// Low blood glucose index: mean risk of a low over all readings, see [`super::glucose_risk`]. From a sensor it is
    /// lower than the fingerstick value its limits were made for (Fabris et al. 2016, doi:10.1177/1932296815599177).
    pub lbgi: Option<f32>,
    /// High blood glucose index.
    pub hbgi: Option<f32>,
    /// M-value about the configured ideal, without the term for the width.
    pub m_value: Option<f32>,
    /// See [`j_index`].
    pub j_index: Option<f32>,
    /// Mean height of the swings above one standard deviation of the record, rises and falls together.
    ///
    /// Service et al. (1970), Diabetes 19:644, doi:10.2337/diab.19.9.644, left the steps open; ours: whole mg/dL, no
    /// smoothing, swings cut at gaps, the ends of a stretch count as turning points, strictly above the SD.
    pub mage_mg_dl: Option<f32>,
    /// The same over rises.
    pub mage_rises_mg_dl: Option<f32>,
    /// The same over falls.
    pub mage_falls_mg_dl: Option<f32>,
    /// Mean absolute difference between values 24 hours apart, by slots of five minutes.
    ///
    /// Source: Molnar et al. (1972), Diabetologia 8:342, doi:10.1007/BF01218495; from memory.
    pub modd_mg_dl: Option<f32>,
    /// Standard deviation of the differences between values 1 hour apart, by slots of five minutes.
    ///
    /// Source: McDonnell et al. (2005), Diabetes Technol Ther 7:253, doi:10.1089/dia.2005.7.253.
    pub conga_1h: Option<f32>,
    /// The same, 2 hours apart.
    pub conga_2h: Option<f32>,
    /// The same, 4 hours apart.
    pub conga_4h: Option<f32>,
    /// The same, 24 hours apart.
    pub conga_24h: Option<f32>,
    /// Glycaemic variability percentage: how much longer the curve is than a flat one, minutes against mg/dL.
    ///
    /// Source: Peyser et al. (2018), Diabetes Technol Ther 20:6, doi:10.1089/dia.2017.0187.
    pub gvp_percent: Option<f32>,
    /// Mean absolute change of glucose per hour.
    ///
    /// Source: Hill et al. (2011), Diabetes Technol Ther 13:921, PMC3160264.
    pub mag_mg_dl_h: Option<f32>,
    /// Mean of the standard deviations of whole days.
    ///
    /// Source of the three that follow: Rodbard (2009), Diabetes Technol Ther 11:551, doi:10.1089/dia.2008.0132.
    pub sd_within_day: Option<f32>,
    /// Standard deviation of the means of whole days.
    pub sd_between_day_means: Option<f32>,
    /// Standard deviation across days at each five minutes of the clock, averaged; only from an exact grid, since its
    /// 288 sums do not fit a wrist's memory.
    pub sd_by_clock: Option<f32>,
    /// Episodes by the rules of [`EpisodeRule::ALL`], in that order.
    pub episodes: [EpisodeTotal; EpisodeRule::ALL.len()],
}

impl Summary {
    /// Whether the data suffice for a judgement: 14 days, with readings for at least 70 % of them.
    ///
    /// Source: Battelino et al. (2019), Diabetes Care 42:1593, doi:10.2337/dci19-0028.
    #[must_use]
    pub fn suffices(&self) -> bool {
        self.days >= 14.0 && self.active_percent.is_some_and(|active| active >= 70.0)
    }
}
