//! The wearer's day.

const HOUR_S: i64 = 3600;
const DAY_S: i64 = 86_400;

/// A clock on the wearer's wall, over instants in seconds since 1970.
pub trait WallClock {
    /// Seconds since 1970 on the wearer's own clock at an instant.
    fn wall(&self, instant: i64) -> i64;

    /// How far the wearer's clock is ahead of the instants, seconds.
    fn lead(&self, instant: i64) -> i64 {
        self.wall(instant) - instant
    }

    /// The hour of the wearer's day at an instant, 0 to 23.
    fn hour(&self, instant: i64) -> i64 {
        hour_of(self.wall(instant))
    }

    /// The night that holds an instant, by the day it ends on (days since 1970): from 22:00 to 07:00 on the wearer's clock,
    /// when most people would be woken (common practice, no source).
    fn night(&self, instant: i64) -> Option<i64> {
        const BEFORE_MIDNIGHT_S: i64 = 2 * HOUR_S;
        let wall = self.wall(instant);
        let by_day = (7..22).contains(&hour_of(wall));
        (!by_day).then(|| (wall + BEFORE_MIDNIGHT_S).div_euclid(DAY_S))
    }
}

fn hour_of(wall: i64) -> i64 {
    wall.rem_euclid(DAY_S) / HOUR_S
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Ahead(i64);

    impl WallClock for Ahead {
        fn wall(&self, instant: i64) -> i64 {
            instant + self.0
        }
    }

    #[test]
    fn nights_end_at_seven_and_begin_at_ten() {
        let night_of = |minute: i64| Ahead(0).night(minute * 60);
        assert_eq!(
            [0, 419, 420, 1319, 1320, 1440].map(night_of),
            [Some(0), Some(0), None, None, Some(1), Some(1)]
        );
    }

    #[test]
    fn the_day_is_the_wearers() {
        let clock = Ahead(2 * 3600);
        assert_eq!((clock.hour(0), clock.hour(22 * 3600), clock.lead(5)), (2, 0, 7200));
        assert_eq!((clock.night(20 * 3600), clock.night(20 * 3600 - 1)), (Some(1), None));
        assert_eq!(Ahead(-3600).hour(0), 23);
    }
}
