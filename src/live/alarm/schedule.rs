//! Which settings hold when: profiles by weekday and time of day.

use super::settings::AlarmSettings;
use crate::error::{Error, ErrorKind, in_range};
use crate::local::LocalTime;

/// The last minute of a day.
const LAST_MINUTE: f32 = 1439.0;

/// A set of weekdays. 1 byte.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::alarm::Weekdays;
/// let days = Weekdays::NONE.with(1).with(3); // Tuesday and Thursday
/// assert!(days.contains(3) && !days.contains(4));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Weekdays(pub(super) u8);

impl Weekdays {
    /// Every day.
    pub const ALL: Self = Self(0x7f);
    /// Monday to Friday.
    pub const WORKDAYS: Self = Self(0x1f);
    /// Saturday and Sunday.
    pub const WEEKEND: Self = Self(0x60);
    /// No day.
    pub const NONE: Self = Self(0);

    /// This set and a weekday, 0 (Monday) to 6 (Sunday); other numbers add nothing.
    #[must_use]
    pub const fn with(self, weekday: u8) -> Self {
        if weekday > 6 { self } else { Self(self.0 | 1 << weekday) }
    }

    /// Whether a weekday is among them.
    #[must_use]
    pub const fn contains(self, weekday: u8) -> bool {
        weekday <= 6 && self.0 & (1 << weekday) != 0
    }
}

/// When a profile holds: from a minute of the day to another, on the days it begins. 6 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Slot {
    /// The days on which it begins.
    pub days: Weekdays,
    /// The minute of the day it begins, 0 to 1439.
    pub from: u16,
    /// The minute of the day it ends, 0 to 1439, not included. At or before `from` it ends on the next day:
    /// equal ones last a whole day.
    pub to: u16,
    /// Which profile, as [`AlarmPlan::add_profile`] numbered it.
    pub profile: u8,
}

impl Slot {
    /// The slot, if its minutes are of the day.
    pub(super) fn checked(self) -> Result<Self, Error> {
        in_range("from", f32::from(self.from), 0.0, LAST_MINUTE)?;
        in_range("to", f32::from(self.to), 0.0, LAST_MINUTE)?;
        Ok(self)
    }

    /// Whether it holds at `local`.
    #[must_use]
    pub const fn holds(&self, local: LocalTime) -> bool {
        let yesterday = if local.weekday() == 0 { 6 } else { local.weekday().saturating_sub(1) };
        if self.from < self.to {
            self.days.contains(local.weekday()) && local.minute() >= self.from && local.minute() < self.to
        } else {
            (self.days.contains(local.weekday()) && local.minute() >= self.from)
                || (self.days.contains(yesterday) && local.minute() < self.to)
        }
    }
}

/// Up to four profiles and up to eight slots that say when each holds. 960 bytes.
///
/// Exactly one profile holds at any moment: that of the first slot that covers it, else profile 0. The wall
/// clock alone decides, so a jump of daylight saving needs no care: an hour that comes twice is covered
/// twice, an hour that is left out is not covered.
///
/// Feature `serde` gives `Serialize` and `Deserialize`.
///
/// # Examples
/// ```
/// use glidepath::alarm::{AlarmPlan, AlarmSettings, Slot, Weekdays};
/// use glidepath::LocalTime;
/// let day = AlarmSettings::default();
/// let mut plan = AlarmPlan::new(day)?;
/// let mut quiet = day;
/// quiet.high.on = false;
/// let night = plan.add_profile(quiet)?;
/// plan.add_slot(Slot { days: Weekdays::ALL, from: 22 * 60, to: 7 * 60, profile: night })?;
/// assert_eq!(plan.profile_at(LocalTime::new(0, 6 * 60)?), night);
/// assert_eq!(plan.profile_at(LocalTime::new(0, 7 * 60)?), 0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AlarmPlan {
    pub(super) base: AlarmSettings,
    pub(super) others: [Option<AlarmSettings>; 3],
    pub(super) slots: [Option<Slot>; 8],
}

impl Default for AlarmPlan {
    /// The default settings at all times.
    fn default() -> Self {
        Self { base: AlarmSettings::default(), others: [None; 3], slots: [None; 8] }
    }
}

impl AlarmPlan {
    /// The same settings at all times: profile 0.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: AlarmSettings) -> Result<Self, Error> {
        Ok(Self { base: settings.checked()?, others: [None; 3], slots: [None; 8] })
    }

    /// One more profile; its number.
    ///
    /// # Errors
    /// Names the setting that is out of its range, or `profiles` when there are four.
    ///
    /// # Examples
    /// ```
    /// use glidepath::alarm::{AlarmPlan, AlarmSettings};
    /// let mut plan = AlarmPlan::default();
    /// let mut night = AlarmSettings::default();
    /// night.high.on = false;
    /// assert_eq!(plan.add_profile(night)?, 1);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn add_profile(&mut self, settings: AlarmSettings) -> Result<u8, Error> {
        let settings = settings.checked()?;
        for (number, place) in (1_u8..).zip(self.others.iter_mut()) {
            if place.is_none() {
                *place = Some(settings);
                return Ok(number);
            }
        }
        Err(Error::new("profiles", ErrorKind::OutOfRange))
    }

    /// One more slot; earlier ones win where two cover the same moment.
    ///
    /// # Errors
    /// Names `from`, `to` or `profile` when out of range (no such profile), or `slots` when there are eight.
    ///
    /// # Examples
    /// ```
    /// use glidepath::alarm::{AlarmPlan, Slot, Weekdays};
    /// let mut plan = AlarmPlan::default();
    /// let nights = Slot { days: Weekdays::ALL, from: 22 * 60, to: 7 * 60, profile: 1 };
    /// assert_eq!(plan.add_slot(nights).unwrap_err().parameter(), "profile"); // there is none yet
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn add_slot(&mut self, slot: Slot) -> Result<(), Error> {
        let slot = slot.checked()?;
        known(self.profile(slot.profile).is_some())?;
        match self.slots.iter_mut().find(|place| place.is_none()) {
            Some(place) => {
                *place = Some(slot);
                Ok(())
            }
            None => Err(Error::new("slots", ErrorKind::OutOfRange)),
        }
    }

    /// The settings of a profile.
    #[must_use]
    pub fn profile(&self, number: u8) -> Option<&AlarmSettings> {
        match number.checked_sub(1) {
            None => Some(&self.base),
            Some(other) => self.others.get(usize::from(other))?.as_ref(),
        }
    }

    /// The slots, first the one that wins.
    pub fn slots(&self) -> impl Iterator<Item = &Slot> {
        self.slots.iter().flatten()
    }

    /// The one profile that holds at `local`.
    #[must_use]
    pub fn profile_at(&self, local: LocalTime) -> u8 {
        self.slots.iter().flatten().find(|slot| slot.holds(local)).map_or(0, |slot| slot.profile)
    }

    /// The settings that hold at `local`; the base profile's when the time of day is not known.
    ///
    /// # Examples
    /// ```
    /// use glidepath::LocalTime;
    /// use glidepath::alarm::{AlarmPlan, AlarmSettings, Slot, Weekdays};
    /// let day = AlarmSettings::default();
    /// let mut plan = AlarmPlan::new(day)?;
    /// let profile = plan.add_profile(day.with_high(day.high.with_on(false)))?;
    /// plan.add_slot(Slot { days: Weekdays::ALL, from: 23 * 60, to: 7 * 60, profile })?;
    /// assert!(!plan.settings_at(Some(LocalTime::new(0, 2 * 60)?)).high.on); // at two at night
    /// assert!(plan.settings_at(None).high.on); // the time of day is not known
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn settings_at(&self, local: Option<LocalTime>) -> &AlarmSettings {
        local.and_then(|local| self.profile(self.profile_at(local))).unwrap_or(&self.base)
    }
}

/// Whether a slot's profile is one of the plan.
pub(super) const fn known(there: bool) -> Result<(), Error> {
    if there { Ok(()) } else { Err(Error::new("profile", ErrorKind::OutOfRange).of("slots")) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Instant;
    use proptest::prelude::*;

    fn local(weekday: u8, hour: u16, minute: u16) -> LocalTime {
        LocalTime::new(weekday, hour * 60 + minute).unwrap()
    }

    fn plan() -> AlarmPlan {
        let mut plan = AlarmPlan::new(AlarmSettings::default()).unwrap();
        for profile in 1..=3 {
            assert_eq!(plan.add_profile(AlarmSettings::default()), Ok(profile));
        }
        // a night that begins on workdays, a weekend, working hours
        for (days, from, to, profile) in
            [(Weekdays::WORKDAYS, 22, 7, 1), (Weekdays::WEEKEND, 0, 0, 2), (Weekdays::WORKDAYS, 9, 17, 3)]
        {
            plan.add_slot(Slot { days, from: from * 60, to: to * 60, profile }).unwrap();
        }
        plan
    }

    #[test]
    fn a_slot_that_crosses_midnight_belongs_to_the_day_it_begins() {
        let plan = plan();
        for (at, profile) in [
            (local(0, 6, 59), 0), // Monday morning: the night before began on a Sunday
            (local(0, 22, 0), 1),
            (local(1, 6, 59), 1),
            (local(1, 7, 0), 0),
            (local(1, 9, 0), 3),
            (local(1, 16, 59), 3),
            (local(1, 17, 0), 0),
            (local(5, 6, 59), 1), // Friday's night, named first, goes before the weekend
            (local(5, 7, 0), 2),
            (local(6, 23, 59), 2),
        ] {
            assert_eq!(plan.profile_at(at), profile, "{at:?}");
        }
    }

    #[test]
    fn weekdays_add_up_to_the_week() {
        let days = [5, 6].into_iter().fold(Weekdays::WORKDAYS, Weekdays::with);
        assert_eq!((days, days.with(3), days.with(7)), (Weekdays::ALL, Weekdays::ALL, Weekdays::ALL));
        assert_eq!(Weekdays::NONE.with(5).with(6), Weekdays::WEEKEND);
        assert!((0..8).all(|day| Weekdays::WEEKEND.contains(day) == matches!(day, 5 | 6)));
    }

    #[test]
    fn jumps_of_daylight_saving_follow_the_wall_clock() {
        // New York, 10 March 2024: 01:59 is followed by 03:00 at 07:00Z
        let before = Instant::from_secs(1_710_054_000 - 60);
        let jump = Instant::from_secs(1_710_054_000);
        assert_eq!(LocalTime::from_unix(before, -5 * 3600), local(6, 1, 59));
        assert_eq!(LocalTime::from_unix(jump, -4 * 3600), local(6, 3, 0));
        // 3 November 2024: 01:59 is followed by 01:00 at 06:00Z
        let back = Instant::from_secs(1_730_613_600);
        assert_eq!(LocalTime::from_unix(back, -4 * 3600), local(6, 2, 0));
        assert_eq!(LocalTime::from_unix(back, -5 * 3600), local(6, 1, 0));
        // a slot wholly within the hour left out does not hold, one within the repeated hour holds twice
        let slot = Slot { days: Weekdays::ALL, from: 2 * 60, to: 3 * 60, profile: 0 };
        assert!(!slot.holds(LocalTime::from_unix(before, -5 * 3600)) && !slot.holds(local(6, 3, 0)));
        let slot = Slot { days: Weekdays::ALL, from: 60, to: 2 * 60, profile: 0 };
        for offset in [-4 * 3600, -5 * 3600] {
            assert!(
                slot.holds(LocalTime::from_unix(Instant::from_secs(1_730_611_800), offset))
                    == (offset == -4 * 3600)
            );
        }
        assert!(slot.holds(LocalTime::from_unix(back, -5 * 3600)));
    }

    #[test]
    fn there_is_room_for_four_profiles_and_eight_slots() {
        let mut plan = plan();
        assert_eq!(plan.add_profile(AlarmSettings::default()).unwrap_err().parameter(), "profiles");
        let slot = Slot { days: Weekdays::ALL, from: 0, to: 1, profile: 3 };
        for _ in 3..8 {
            plan.add_slot(slot).unwrap();
        }
        assert_eq!(plan.add_slot(slot).unwrap_err().parameter(), "slots");
        let mut plan = AlarmPlan::new(AlarmSettings::default()).unwrap();
        assert_eq!(plan.add_slot(slot).unwrap_err().parameter(), "profile");
        assert_eq!(plan.add_slot(Slot { from: 1440, ..slot }).unwrap_err().parameter(), "from");
        assert_eq!(plan.add_slot(Slot { to: 1440, ..slot }).unwrap_err().parameter(), "to");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]
        #[test]
        fn exactly_one_existing_profile_holds_at_any_moment(
            slots in prop::collection::vec((0..128_u8, 0..1440_u16, 0..1440_u16, 0..4_u8), 0..8),
            at in any::<u32>(),
            offset in -50_400..=50_400_i32,
        ) {
            let mut plan = AlarmPlan::new(AlarmSettings::default()).unwrap();
            for _ in 0..3 {
                plan.add_profile(AlarmSettings::default()).unwrap();
            }
            for (days, from, to, profile) in slots {
                let days = (0..7).filter(|day| days >> day & 1 == 1).fold(Weekdays::NONE, Weekdays::with);
                plan.add_slot(Slot { days, from, to, profile }).unwrap();
            }
            let local = LocalTime::from_unix(Instant::from_secs(at), offset);
            prop_assert!(local.weekday() < 7 && local.minute() < 1440);
            prop_assert!(plan.profile(plan.profile_at(local)).is_some());
        }
    }
}
