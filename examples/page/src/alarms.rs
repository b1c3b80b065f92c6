//! The alarm settings, behind one number for each limit: the only place that knows how the library keeps them.

use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind};

/// A kind of alarm as it is set: whether it is on, its limit in the unit that [`Kind::info`] names, and the range of
/// that limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Set {
    pub on: bool,
    pub limit: f32,
    pub range: (f32, f32),
}

/// How a kind of alarm is set.
pub fn get(settings: &AlarmSettings, kind: Kind) -> Set {
    let rule = settings.rule(kind);
    Set { on: rule.on, limit: rule.limit.number(), range: kind.info().limits }
}

/// The settings with one limit changed; `None` when the library refuses them.
pub fn with(settings: &AlarmSettings, kind: Kind, on: bool, limit: f32) -> Option<AlarmSettings> {
    let mut settings = *settings;
    let mut rule = settings.rule(kind);
    (rule.on, rule.limit) = (on, kind.info().unit.limit(limit).ok()?);
    settings.set_rule(kind, rule).ok()?;
    settings.checked().ok()
}

/// The plan that rings by these settings at all hours; `None` when the library refuses them.
pub fn plan(settings: &AlarmSettings) -> Option<AlarmPlan> {
    AlarmPlan::new(*settings).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_set_or_refused_and_nothing_else_changes() {
        let standard = AlarmSettings::default();
        let changed = with(&standard, Kind::Low, true, 80.0).unwrap();
        assert_eq!(get(&changed, Kind::Low), Set { on: true, limit: 80.0, range: (56.0, 120.0) });
        for kind in Kind::ALL.into_iter().filter(|kind| *kind != Kind::Low) {
            assert_eq!(get(&changed, kind), get(&standard, kind), "{kind:?}");
        }
        assert_eq!(get(&with(&standard, Kind::High, false, 300.0).unwrap(), Kind::High).limit, 300.0);
        assert!(!get(&with(&standard, Kind::High, false, 300.0).unwrap(), Kind::High).on);
        assert_eq!(with(&standard, Kind::Low, true, 20.0), None);
        assert_eq!(with(&standard, Kind::Low, true, f32::NAN), None);
        assert_eq!(with(&standard, Kind::Floor, false, 55.0), None, "the floor is fixed");
        // too near to the high limit
        let near = with(&standard, Kind::High, true, 120.0).unwrap();
        assert_eq!(with(&near, Kind::Low, true, 115.0), None);
    }
}
