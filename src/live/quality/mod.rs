//! Whether a reading is to be believed, and how far the sensor is to be trusted.
//!
//! A reading is judged in two steps, because half of the evidence is how far it lies from what was expected:
//! [`Quality::admit`] says, with no change of state, whether to ask the estimator at all;
//! [`Quality::assess`] takes the answer (the innovation over its predicted standard deviation) and decides.
//!
//! # What a verdict does
//! | verdict | estimate | history | alarms |
//! | --- | --- | --- | --- |
//! | accepted | taken in | kept | ring by it |
//! | late | untouched | kept in its place | none: it is about the past |
//! | duplicate, out of range | untouched | refused | none; the no-data alarm keeps counting |
//! | bad time | untouched | refused | the floor rings if it is as low as that; the no-data alarm keeps counting |
//! | clock set | taken in | kept, and older ones are moved to the new clock | ring by it; counting goes on |
//! | warm-up | untouched | kept, marked | none; the no-data alarm waits for the warm-up to end |
//! | fault | untouched | refused | none; the no-data alarm keeps counting |
//! | jump | its value is shown, marked as doubted, with a wide deviation and no rate; nothing is learned | kept | the next reading decides; another far one to the same side within 20 min is believed |
//! | stuck | taken in at a tenth of its weight | kept | floor and low ring; low ahead, steep fall and rise do not; the alarm that the sensor is not to be believed starts to count |
//! | pressure | as a jump: the sensor's value, marked | kept | the floor rings as ever, at once; low waits longer, by the hold stated in its settings (20 min, 30 at most); low ahead and steep fall wait until the suspicion ends |
//!
//! Pressure is suspected at night only ([`QualityConfig::night_from`]; at any hour, but for a larger drop, when
//! the hour is not known): a level that was steady for 20 min, of which
//! [a share](QualityConfig::pressure_share) is lost within one reading. A suspicion ends when the reading has regained
//! half of what it lost, or after [`QualityConfig::pressure_hold`], whichever comes first; then readings count in
//! full again, and no new suspicion is raised for an hour. So a real low at night that looks like pressure rings 20 minutes
//! late, and one at the floor is not late at all.
//!
//! On 1,426 recorded nights (`glidepath fit --only pressure`) 79 % of 154 such suspicions were right: glucose came back within
//! the hour. They found a quarter of all dips, and 8 held a fall that went under 70 mg/dL and lasted. A leaky sum over a
//! quiet night's filter, which this replaces, was right in 44 % of 592, found as many dips, and held 64 lasting lows.
//!
//! # Grades
//! Reasons add up, and the worst one sets the [`Grade`]: warming up or stuck is unusable; a jump, suspected
//! pressure, disagreement (with fingersticks or a second sensor) or the sensor's own doubt is poor; first day,
//! past the planned end, noise, a gap in the last hour and drift are fair.

mod agreement;
mod config;
mod pressure;
mod reasons;
mod verdict;
mod wear;

pub use config::QualityConfig;
pub use reasons::{Grade, Reason, Reasons};
pub use verdict::{Assessment, Verdict};
pub use wear::Wear;

use crate::codec::{Codec, Coded};
use crate::error::Error;
use crate::local::LocalTime;
use crate::math::Bounded as _;
use crate::reading::{Reading, Status};
use crate::timeline::Reset;
use crate::units::{Instant, Span};
use agreement::Agreement;
use pressure::Pressure;
use wear::Count;

/// Weight of a stuck reading.
const STUCK_WEIGHT: f32 = 0.1;
/// Weight of a reading that the sensor itself doubts.
const DOUBTFUL_WEIGHT: f32 = 0.25;
/// How long a gap counts against the grade.
const GAP_MEMORY: Span = Span::from_hours(1);
/// The mean surprise follows the last by this share, over some dozen readings …
const SURPRISE_SHARE: f32 = 1.0 / 12.0;
/// … and no one reading counts for more than this.
const SURPRISE_MOST: f32 = 9.0;
/// A sensor's own word that it warms up holds this long after the last such reading …
const WARMING_HOLDS: Span = Span::from_mins(20);
/// … and this long, or the configured warm-up if that is longer, after the first: no sensor warms up for ever.
const WARMING_LONGEST: Span = Span::from_hours(2);
/// How much more of the level must be lost when the time of day is not known.
const UNKNOWN_HOUR_SHARE: f32 = 0.05;
/// A jump is believed when another far reading to the same side has come so shortly before.
const JUMP_MEMORY: Span = Span::from_mins(20);

/// A run of equal values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
struct Run {
    value: u16,
    since: Instant,
    count: u8,
}

/// What is remembered between readings.
#[derive(Clone, Copy, Debug, PartialEq)]
struct State {
    newest: Option<Instant>,
    /// The first and the last reading of which the sensor itself said that it warms up, none other since.
    warming: Option<(Instant, Instant)>,
    run: Run,
    /// The newest far reading: when, and whether it was below what was expected.
    far: Option<(Instant, bool)>,
    jumped: bool,
    pressure: Pressure,
    gap_ended: Option<Instant>,
    noise: f32,
    /// Mean of z² over the last hour or so.
    surprise: f32,
    own_doubt: bool,
    agreement: Agreement,
    count: Count,
}

impl State {
    fn new() -> Self {
        Self {
            newest: None,
            warming: None,
            run: Run::default(),
            far: None,
            jumped: false,
            pressure: Pressure::new(),
            gap_ended: None,
            noise: 1.0,
            surprise: 1.0,
            own_doubt: false,
            agreement: Agreement::default(),
            count: Count::default(),
        }
    }
}

/// What is known of a reading besides the reading. 24 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Evidence {
    /// The estimator's innovation over its predicted standard deviation, for a reading that was
    /// [admitted](Quality::admit).
    pub z: Option<f32>,
    /// The estimator's learned noise relative to the sensor's class: 1 is as expected.
    pub noise_scale: Option<f32>,
    /// The wall clock of the person: by day no pressure is suspected, at night less proof is asked for.
    pub local: Option<LocalTime>,
}

/// The judge of a sensor's readings.
///
/// # Memory
/// 216 bytes, configuration included.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Reading, quality::{Evidence, Quality, QualityConfig, Verdict}};
/// let mut quality = Quality::new(QualityConfig::default())?;
/// let reading = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
/// if quality.admit(&reading).is_admitted() {
///     let z = Some(0.4); // the estimator's word: innovation over its predicted standard deviation
///     let assessment = quality.assess(&reading, &Evidence { z, ..Evidence::default() });
///     assert_eq!((assessment.verdict(), assessment.weight()), (Verdict::Accepted, 1.0));
/// }
/// assert_eq!(quality.admit(&reading), Verdict::Duplicate);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Quality {
    config: QualityConfig,
    state: State,
}

impl Quality {
    /// A judge that knows nothing yet.
    ///
    /// # Errors
    /// Names the number of `config` that is out of its range.
    pub fn new(config: QualityConfig) -> Result<Self, Error> {
        Ok(Self { config: config.checked()?, state: State::new() })
    }

    /// Its configuration.
    #[must_use]
    pub const fn config(&self) -> &QualityConfig {
        &self.config
    }

    /// Starts anew. Everything: forgets all but its configuration. The power was away: keeps all. A new sensor:
    /// forgets what was known of the one before; give its start to [`sensor_started`](Self::sensor_started).
    pub fn reset(&mut self, reset: Reset) {
        self.state = match reset {
            Reset::Everything => State::new(),
            Reset::NewSensor => State { newest: self.state.newest, ..State::new() },
            Reset::PowerReturned => return,
        };
    }

    /// A new sensor was started at `at`: warm-up, first day and wear are counted from there, and what was
    /// known of the sensor before is forgotten.
    pub fn sensor_started(&mut self, at: Instant) {
        self.reset(Reset::NewSensor);
        self.state.count.started = Some(at);
    }

    /// The verdict that needs no estimate; changes nothing.
    ///
    /// # Examples
    /// ```
    /// use glidepath::quality::{Quality, QualityConfig, Verdict};
    /// use glidepath::{Glucose, Instant, Reading, Status};
    /// let quality = Quality::new(QualityConfig::default())?;
    /// let (at, glucose) = (Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
    /// assert_eq!(quality.admit(&Reading::new(at, glucose)), Verdict::Accepted);
    /// assert_eq!(quality.admit(&Reading::new(at, Glucose::from_mg_dl(5.0)?)), Verdict::OutOfRange);
    /// let faulty = Reading::new(at, glucose).with_status(Status::Fault);
    /// assert_eq!(quality.admit(&faulty), Verdict::Fault);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn admit(&self, reading: &Reading) -> Verdict {
        let at = reading.at();
        match reading.status() {
            Status::Fault => return Verdict::Fault,
            Status::Normal | Status::Doubtful => {
                let value = reading.glucose().mg_dl();
                if value < self.config.least_mg_dl || value > self.config.greatest_mg_dl {
                    return Verdict::OutOfRange;
                }
            }
            // what the sensor reads as under or over its range is so, whatever number it puts there
            Status::BelowRange | Status::AboveRange | Status::WarmUp => {}
        }
        if let Some(newest) = self.state.newest {
            let ahead = at.since(newest);
            if ahead < Span::ZERO {
                return Verdict::Late;
            }
            if ahead == Span::ZERO {
                return Verdict::Duplicate;
            }
        }
        let own_word = reading.status() == Status::WarmUp && self.word_holds(at);
        if own_word || self.warms_up(at) {
            return Verdict::WarmUp;
        }
        Verdict::Accepted
    }

    /// The full verdict, and what the reading teaches about the sensor.
    ///
    /// To be called once for every reading.
    ///
    /// # Examples
    /// ```
    /// use glidepath::quality::{Evidence, Quality, QualityConfig, Verdict};
    /// use glidepath::{Glucose, Instant, Reading};
    /// let mut quality = Quality::new(QualityConfig::default())?;
    /// let reading = |minute: u32, mg_dl| Ok::<_, glidepath::Error>(Reading::new(Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?));
    /// let as_expected = Evidence { z: Some(0.3), ..Evidence::default() };
    /// assert_eq!(quality.assess(&reading(5, 110.0)?, &as_expected).weight(), 1.0);
    /// let far_off = Evidence { z: Some(12.0), ..Evidence::default() }; // standard deviations
    /// let jump = quality.assess(&reading(10, 190.0)?, &far_off);
    /// assert_eq!((jump.verdict(), jump.weight()), (Verdict::Jump, 0.0));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn assess(&mut self, reading: &Reading, evidence: &Evidence) -> Assessment {
        self.assess_admitted(reading, self.admit(reading), evidence)
    }

    /// The same for a reading just asked about: what [`admit`](Self::admit) said of it.
    pub(crate) fn assess_admitted(
        &mut self,
        reading: &Reading,
        admitted: Verdict,
        evidence: &Evidence,
    ) -> Assessment {
        let at = reading.at();
        if reading.status() == Status::WarmUp {
            let first = self.state.warming.map_or(at, |(first, _)| first);
            self.state.warming = Some((first, at));
        } else if admitted.is_admitted() {
            self.state.warming = None;
        }
        self.state.own_doubt = matches!(reading.status(), Status::Doubtful | Status::Fault | Status::WarmUp);
        if let Some(scale) = evidence.noise_scale.filter(|s| s.is_finite()) {
            self.state.noise = scale;
        }
        if let Some(z) = evidence.z.filter(|z| z.is_finite()) {
            self.state.surprise += SURPRISE_SHARE * ((z * z).at_most(SURPRISE_MOST) - self.state.surprise);
        }
        let verdict = match admitted {
            Verdict::Accepted | Verdict::ClockSet => {
                self.count_run(reading);
                self.judge(reading, evidence).unwrap_or(admitted)
            }
            other => other,
        };
        if verdict.is_admitted() || verdict == Verdict::WarmUp {
            if let Some(silence) = self.state.newest.map(|newest| at.since(newest))
                && silence > self.config.gap
            {
                self.state.gap_ended = Some(at);
                let lost = &mut self.state.count.lost_secs;
                *lost = lost.saturating_add(silence.secs().unsigned_abs());
            }
            self.state.newest = Some(at);
        }
        let count = &mut self.state.count;
        count.readings = count.readings.saturating_add(u32::from(verdict.is_admitted()));
        let error = matches!(verdict, Verdict::Fault | Verdict::OutOfRange);
        count.errors = count.errors.saturating_add(u32::from(error));
        let weight = match verdict {
            Verdict::Accepted | Verdict::ClockSet if self.state.own_doubt => DOUBTFUL_WEIGHT,
            Verdict::Accepted | Verdict::ClockSet => 1.0,
            Verdict::Stuck => STUCK_WEIGHT,
            _ => 0.0,
        };
        Assessment { verdict, weight, reasons: self.reasons(at) }
    }

    /// What a fingerstick taken at `at` says: `z` is how far the meter lay from the estimate over the standard
    /// deviation of the two together, positive when the meter read more. A `z` that is not finite is ignored.
    ///
    /// One beyond 3 is a disagreement, for a day or until a fingerstick agrees; a lasting lean to one side is a
    /// drift (two-sided CUSUM, Page 1954).
    ///
    /// # Examples
    /// ```
    /// use glidepath::quality::{Grade, Quality, QualityConfig, Reason};
    /// use glidepath::Instant;
    /// let mut quality = Quality::new(QualityConfig::default())?;
    /// let at = Instant::from_secs(3600);
    /// quality.fingerstick(at, 4.0); // the meter read 4 standard deviations more than the estimate
    /// assert!(quality.reasons(at).contains(Reason::Fingersticks));
    /// quality.fingerstick(at, 0.5); // one that agrees
    /// assert_eq!(quality.grade(at), Grade::Good);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn fingerstick(&mut self, at: Instant, z: f32) {
        if z.is_finite() {
            self.state.agreement.fingerstick(at, z);
        }
    }

    /// What a second sensor says at `at`: `z` is the difference of the two over its standard deviation (√2
    /// times the noise of one). A `z` that is not finite is ignored.
    ///
    /// More than 3 apart for a quarter of an hour is a disagreement. Which of the two to blame shows in their
    /// [`mean_square_z`](Self::mean_square_z): the one with more of it.
    pub fn second_sensor(&mut self, at: Instant, z: f32) {
        if z.is_finite() {
            self.state.agreement.second_sensor(at, z);
        }
    }

    /// How far the last dozen readings lay from what was expected of them: a mean of z², 1 when the noise is
    /// what the estimator thinks, 9 at most.
    #[must_use]
    pub const fn mean_square_z(&self) -> f32 {
        self.state.surprise
    }

    /// How long the sensor has been worn at `now` and what it gave; `None` when its start is not known.
    ///
    /// # Examples
    /// ```
    /// use glidepath::quality::{Quality, QualityConfig};
    /// use glidepath::{Instant, Span};
    /// let mut quality = Quality::new(QualityConfig::default())?;
    /// assert!(quality.wear(Instant::from_secs(0)).is_none()); // its start is not known
    /// quality.sensor_started(Instant::from_secs(0));
    /// let wear = quality.wear(Instant::from_secs(36 * 3600)).expect("started");
    /// assert_eq!((wear.day(), wear.left()), (2, Span::from_hours(240 - 36))); // of 10 days
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn wear(&self, now: Instant) -> Option<Wear> {
        let count = &self.state.count;
        let worn = now.since(count.started?).max(Span::ZERO);
        let to_come = self.config.warm_up.secs().saturating_sub(worn.secs());
        Some(Wear {
            worn,
            planned: self.config.wear,
            warm_up_left: Span::from_secs(to_come).max(Span::ZERO),
            readings: count.readings,
            errors: count.errors,
            lost: Span::from_secs(i32::try_from(count.lost_secs).unwrap_or(i32::MAX)),
        })
    }

    /// Why the sensor is trusted less at `now`.
    #[must_use]
    pub fn reasons(&self, now: Instant) -> Reasons {
        let (state, config) = (&self.state, &self.config);
        let mut reasons = Reasons::default();
        let age = state.count.started.map(|started| now.since(started));
        let own_word = state.warming.is_some_and(|(_, last)| now.since(last) < WARMING_HOLDS);
        reasons.set(Reason::WarmUp, self.warms_up(now) || own_word && self.word_holds(now));
        reasons.set(Reason::FirstDay, age.is_some_and(|age| age >= config.warm_up && age < config.first_day));
        reasons.set(Reason::PastEnd, age.is_some_and(|age| age >= config.wear));
        reasons.set(Reason::Noise, state.noise >= config.noisy_scale);
        reasons.set(Reason::Jump, state.jumped);
        reasons.set(Reason::Stuck, self.is_stuck());
        let silent = state.newest.is_some_and(|newest| now.since(newest) > config.gap);
        reasons.set(Reason::Gap, silent || state.gap_ended.is_some_and(|end| now.since(end) < GAP_MEMORY));
        reasons.set(Reason::Pressure, state.pressure.is_suspected());
        reasons.set(Reason::Fingersticks, state.agreement.is_denied(now));
        reasons.set(Reason::Drift, state.agreement.drifts());
        reasons.set(Reason::SecondSensor, state.agreement.is_apart());
        reasons.set(Reason::SensorStatus, state.own_doubt);
        reasons
    }

    /// How far the sensor is trusted at `now`.
    #[must_use]
    pub fn grade(&self, now: Instant) -> Grade {
        self.reasons(now).grade()
    }

    fn warms_up(&self, now: Instant) -> bool {
        self.state.count.started.is_some_and(|started| now.since(started) < self.config.warm_up)
    }

    /// Whether the sensor's own word that it warms up is still to be taken.
    fn word_holds(&self, now: Instant) -> bool {
        let longest = WARMING_LONGEST.max(self.config.warm_up);
        self.state.warming.is_none_or(|(first, _)| now.since(first) < longest)
    }

    fn count_run(&mut self, reading: &Reading) {
        let value = reading.glucose().whole_mg_dl();
        let run = &mut self.state.run;
        // readings at the end of the sensor's range are equal by nature
        let clipped = matches!(reading.status(), Status::BelowRange | Status::AboveRange);
        if run.count == 0 || run.value != value || clipped {
            let goes_on = clipped && run.count == 0 && run.value == value;
            let since = if goes_on { run.since } else { reading.at() };
            *run = Run { value, since, count: u8::from(!clipped) };
        } else {
            run.count = run.count.saturating_add(1);
        }
    }

    /// How long the newest readings have been the same whole number, or the same end of the sensor's range; nothing for
    /// one or two.
    pub(crate) fn same_for(&self) -> Span {
        let run = &self.state.run;
        let same = self.state.newest.filter(|_| run.count == 0 || run.count >= 3);
        same.map_or(Span::ZERO, |newest| newest.since(run.since))
    }

    fn is_stuck(&self) -> bool {
        let run = &self.state.run;
        run.count >= self.config.stuck_readings
            && self.state.newest.is_some_and(|newest| newest.since(run.since) >= self.config.stuck_span)
    }

    /// The verdicts that need the estimator's word; `None` when there is nothing against the reading.
    fn judge(&mut self, reading: &Reading, evidence: &Evidence) -> Option<Verdict> {
        let config = self.config;
        let state = &mut self.state;
        let at = reading.at();
        let z = evidence.z.filter(|z| z.is_finite()).unwrap_or(0.0);
        // a lone far reading may be a single bad one: two to the same side within a while are real
        let far = z.abs() > config.jump_sd;
        let before = state.far.filter(|(then, below)| at.since(*then) <= JUMP_MEMORY && *below == (z < 0.0));
        state.jumped = far && before.is_none();
        if far {
            state.far = Some((at, z < 0.0));
        }
        let limit = match evidence.local {
            Some(local) if !config.is_night(local) => None,
            Some(_) => Some(config.pressure_share),
            None => Some(config.pressure_share + UNKNOWN_HOUR_SHARE),
        };
        let limit = limit.filter(|_| !state.jumped);
        if state.pressure.step(reading, limit, config.pressure_hold) {
            state.jumped = false;
            return Some(Verdict::Pressure);
        }
        if state.jumped {
            return Some(Verdict::Jump);
        }
        let run = state.run;
        (run.count >= config.stuck_readings && at.since(run.since) >= config.stuck_span)
            .then_some(Verdict::Stuck)
    }
}

impl Coded for Quality {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { config: _, state } = self;
        state.code(codec);
    }
}

impl Coded for State {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self {
            newest,
            warming,
            run: Run { value, since, count: run },
            far,
            jumped,
            pressure,
            gap_ended,
            noise,
            surprise,
            own_doubt,
            agreement,
            count,
        } = self;
        codec.moments(&mut [newest, gap_ended]);
        warming.code(codec);
        codec.half(value);
        codec.moment(since);
        codec.byte(run);
        far.code(codec);
        pressure.code(codec);
        noise.code(codec);
        codec.within(surprise, 0.0, SURPRISE_MOST);
        codec.flags(&mut [jumped, own_doubt]);
        agreement.code(codec);
        count.code(codec);
    }
}

#[cfg(test)]
mod tests;
