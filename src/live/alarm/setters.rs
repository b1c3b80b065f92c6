//! Settings of alarms built from defaults in one expression. Ranges are checked where the settings are taken:
//! [`AlarmSettings::checked`], [`AlarmPlan::new`](super::AlarmPlan::new).

use super::ring::Priority;
use super::settings::{AlarmSettings, Rule};
use crate::units::{Glucose, Probability, Rate, Span};

impl<L: Copy> Rule<L> {
    /// The same rule, switched on or off.
    #[must_use]
    pub const fn with_on(self, on: bool) -> Self {
        Self { on, ..self }
    }

    /// The same rule with another limit. Unit and range depend on the kind: see the [table](Self).
    #[must_use]
    pub const fn with_limit(self, limit: L) -> Self {
        Self { limit, ..self }
    }

    /// The same rule with another hysteresis, in the unit of the limit: from 0 to the most that the [table](Self) gives.
    #[must_use]
    pub const fn with_hysteresis(self, hysteresis: L) -> Self {
        Self { hysteresis, ..self }
    }

    /// The same rule, first ringing after this long at the limit or within the hysteresis: 0 to 24 h; of low 30 min at most.
    #[must_use]
    pub const fn with_delay(self, delay: Span) -> Self {
        Self { delay, ..self }
    }

    /// The same rule, ringing again this long after its last ring while nobody acknowledges it: 0 (never) to 24 h; of low
    /// 1 to 30 min.
    #[must_use]
    pub const fn with_repeat(self, repeat: Span) -> Self {
        Self { repeat, ..self }
    }

    /// The same rule, silent for this long after its last ring once acknowledged: 0 to 24 h; of low 30 min at most.
    #[must_use]
    pub const fn with_quiet(self, quiet: Span) -> Self {
        Self { quiet, ..self }
    }

    /// The same rule, one priority higher when unacknowledged for this long after its first ring: 0 (never) to 24 h.
    #[must_use]
    pub const fn with_escalate(self, escalate: Span) -> Self {
        Self { escalate, ..self }
    }

    /// The same rule with another priority.
    #[must_use]
    pub const fn with_priority(self, priority: Priority) -> Self {
        Self { priority, ..self }
    }
}

/// Each takes a whole rule, best made of the default's:
/// ```
/// use glidepath::{Glucose, Rate, Span, alarm::{AlarmPlan, AlarmSettings}};
/// let given = AlarmSettings::default();
/// let mine = given
///     .with_low(given.low.with_limit(Glucose::from_mg_dl(75.0)?).with_repeat(Span::from_mins(10)))
///     .with_steep_fall(given.steep_fall.with_on(true).with_limit(Rate::from_mg_dl_per_min(2.5)?))
///     .with_high(given.high.with_on(false));
/// let plan = AlarmPlan::new(mine)?; // checks every number
/// assert_eq!(plan.profile(0).map(|settings| settings.low.limit.whole_mg_dl()), Some(75));
/// # Ok::<(), glidepath::Error>(())
/// ```
impl AlarmSettings {
    /// The same settings with another rule for glucose at or under a limit, 56 to 120 mg/dL.
    #[must_use]
    pub const fn with_low(self, low: Rule<Glucose>) -> Self {
        Self { low, ..self }
    }

    /// The same settings with another rule for the probability of a low within 30 minutes, 0.05 to 0.95.
    #[must_use]
    pub const fn with_low_ahead(self, low_ahead: Rule<Probability>) -> Self {
        Self { low_ahead, ..self }
    }

    /// The same settings with another rule for a fall, 0.5 to 10 mg/dL per minute, without sign.
    #[must_use]
    pub const fn with_steep_fall(self, steep_fall: Rule<Rate>) -> Self {
        Self { steep_fall, ..self }
    }

    /// The same settings with another rule for time without a reading, 5 to 240 min.
    #[must_use]
    pub const fn with_no_data(self, no_data: Rule<Span>) -> Self {
        Self { no_data, ..self }
    }

    /// The same settings with another rule for glucose at or over a limit, 120 to 400 mg/dL.
    #[must_use]
    pub const fn with_high(self, high: Rule<Glucose>) -> Self {
        Self { high, ..self }
    }

    /// The same settings with another rule for a rise, 0.5 to 10 mg/dL per minute.
    #[must_use]
    pub const fn with_steep_rise(self, steep_rise: Rule<Rate>) -> Self {
        Self { steep_rise, ..self }
    }

    /// The same settings with another rule for a sensor that is not to be believed.
    #[must_use]
    pub const fn with_doubt(self, doubt: Rule<()>) -> Self {
        Self { doubt, ..self }
    }

    /// The same settings with another rule for what is left to the sensor's planned end, 0 to 72 h.
    #[must_use]
    pub const fn with_wear_end(self, wear_end: Rule<Span>) -> Self {
        Self { wear_end, ..self }
    }

    /// The same settings with another [rate](Self::recovering) at which a value counts as moving back by itself, 0.2 to
    /// 5 mg/dL per minute.
    #[must_use]
    pub const fn with_recovering(self, recovering: Rate) -> Self {
        Self { recovering, ..self }
    }

    /// The same settings with another [time](Self::pressure_hold) that low waits longer under suspicion of pressure, 0 to
    /// 30 min.
    #[must_use]
    pub const fn with_pressure_hold(self, pressure_hold: Span) -> Self {
        Self { pressure_hold, ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_setter_changes_its_own_field_alone() {
        let given = AlarmSettings::default();
        let (rule, span) = (given.no_data, Span::from_mins(7));
        let mut own = rule;
        (own.on, own.limit, own.hysteresis, own.delay) =
            (false, Span::from_mins(31), Span::from_mins(1), span);
        let built =
            rule.with_on(false).with_limit(own.limit).with_hysteresis(own.hysteresis).with_delay(span);
        assert_eq!(built, own);
        (own.repeat, own.quiet) = (Span::from_mins(8), Span::from_mins(9));
        (own.escalate, own.priority) = (Span::from_mins(10), Priority::High);
        let built = built.with_repeat(own.repeat).with_quiet(own.quiet).with_escalate(own.escalate);
        assert_eq!(built.with_priority(Priority::High), own);

        let mut own = given;
        own.low.delay = Span::from_mins(1);
        own.low_ahead.delay = Span::from_mins(2);
        own.steep_fall.delay = Span::from_mins(3);
        own.no_data.delay = Span::from_mins(5);
        let built = given.with_low(own.low).with_low_ahead(own.low_ahead).with_steep_fall(own.steep_fall);
        assert_eq!(built.with_no_data(own.no_data), own);
        own.high.delay = Span::from_mins(6);
        own.steep_rise.delay = Span::from_mins(8);
        own.doubt.delay = Span::from_mins(9);
        own.wear_end.delay = Span::from_mins(11);
        (own.recovering, own.pressure_hold) = (Rate::clamped(0.5), Span::from_mins(12));
        let built = built.with_no_data(own.no_data).with_high(own.high).with_steep_rise(own.steep_rise);
        let built = built.with_doubt(own.doubt).with_wear_end(own.wear_end).with_recovering(own.recovering);
        assert_eq!(built.with_pressure_hold(own.pressure_hold), own);
    }
}
