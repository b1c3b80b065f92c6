//! Axes and their ticks.

/// One direction of a drawing: its ends in the data's unit and where it is labelled.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    pub low: f64,
    pub high: f64,
    /// Place, label, and whether a narrow drawing can do without the label.
    pub ticks: Vec<(f64, String, bool)>,
    /// Seconds of a day rather than a number.
    pub is_clock: bool,
}

impl Axis {
    /// A number, labelled at round steps (1, 2 or 5 times a power of ten), at most `most` of them.
    pub fn linear(low: f64, high: f64, most: usize) -> Self {
        let (low, high) = ordered(low, high);
        let rough = (high - low) / most.max(1) as f64;
        let power = 10f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].map(|m| m * power).into_iter().find(|step| *step >= rough * 0.999);
        let step = step.unwrap_or(power * 10.0);
        let decimals = (-step.log10().floor()).max(0.0) as usize;
        let first = (low / step).ceil() as i64;
        let last = (high / step + 1e-9).floor() as i64;
        let ticks = (first..=last)
            .map(|n| n as f64 * step)
            .map(|at| (at, format!("{:.*}", decimals, at + 0.0).replace('-', "−"), false))
            .collect();
        Self { low, high, ticks, is_clock: false }
    }

    /// The same without labels but those given.
    pub fn labelled(low: f64, high: f64, ticks: &[(f64, &str)]) -> Self {
        let (low, high) = ordered(low, high);
        let ticks = ticks.iter().map(|(at, label)| (*at, (*label).to_owned(), false)).collect();
        Self { low, high, ticks, is_clock: false }
    }

    /// Clock time, in seconds since some midnight: labelled at whole minutes, hours or days.
    pub fn clock(low: f64, high: f64) -> Self {
        const MINUTE: f64 = 60.0;
        const HOUR: f64 = 3600.0;
        let (low, high) = ordered(low, high);
        let steps = [5.0, 10.0, 15.0, 30.0].map(|m| m * MINUTE);
        let steps = steps.into_iter().chain([1.0, 2.0, 3.0, 6.0, 12.0, 24.0].map(|h| h * HOUR));
        let step = steps.into_iter().find(|step| (high - low) / step <= 8.5).unwrap_or(24.0 * HOUR);
        let first = (low / step).ceil() as i64;
        let last = (high / step).floor() as i64;
        let ticks = (first..=last)
            .map(|n| {
                let at = n as f64 * step;
                let minute = (at / MINUTE).round() as i64;
                let (hour, minute) = (minute.div_euclid(60), minute.rem_euclid(60));
                // midnight at the end of a day is written as that day's end
                let hour = if hour == 24 { 24 } else { hour.rem_euclid(24) };
                (at, format!("{hour:02}:{minute:02}"), n.rem_euclid(2) == 1)
            })
            .collect();
        Self { low, high, ticks, is_clock: true }
    }

    /// Where `value` stands between the ends: 0 to 1, held at the ends.
    pub fn place(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    /// Whether `value` lies between the ends.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// Ends that span something, whatever was given.
fn ordered(low: f64, high: f64) -> (f64, f64) {
    match (low.is_finite(), high.is_finite()) {
        (true, true) if low < high => (low, high),
        (true, _) => (low, low + 1.0),
        (false, _) => (0.0, 1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(axis: &Axis) -> Vec<&str> {
        axis.ticks.iter().map(|(_, label, _)| label.as_str()).collect()
    }

    #[test]
    fn ticks_are_round() {
        assert_eq!(labels(&Axis::linear(40.0, 310.0, 6)), ["50", "100", "150", "200", "250", "300"]);
        assert_eq!(labels(&Axis::linear(2.2, 17.0, 6)), ["5", "10", "15"]);
        assert_eq!(labels(&Axis::linear(-3.0, 3.0, 4)), ["−2", "0", "2"]);
        assert_eq!(labels(&Axis::linear(0.0, 1.0, 2)), ["0.0", "0.5", "1.0"]);
        let day = Axis::clock(0.0, 86_400.0);
        assert_eq!(labels(&day)[..3], ["00:00", "03:00", "06:00"]);
        assert_eq!(labels(&day).last(), Some(&"24:00"));
        assert_eq!(
            labels(&Axis::clock(7.8 * 3600.0, 10.1 * 3600.0)),
            ["08:00", "08:30", "09:00", "09:30", "10:00"]
        );
    }

    #[test]
    fn any_ends_make_an_axis() {
        for (low, high) in [(1.0, 1.0), (2.0, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY)] {
            let axis = Axis::linear(low, high, 5);
            assert!(axis.low < axis.high && axis.ticks.len() < 20, "{axis:?}");
        }
    }
}
