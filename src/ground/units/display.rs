//! Values as people read them, from whole numbers: no float is formatted.

use super::glucose::{Glucose, Rate};
use super::probability::Probability;
use super::time::Span;
use core::fmt;

/// Tenths with their point, in the width that is asked for.
fn tenths(f: &mut fmt::Formatter<'_>, tenths: i32, unit: &str) -> fmt::Result {
    let (whole, rest) = (tenths.unsigned_abs().div_euclid(10), tenths.unsigned_abs().rem_euclid(10));
    write!(f, "{}{whole}.{rest} {unit}", if tenths < 0 { "-" } else { "" })
}

/// In whole mg/dL, `112 mg/dL`; with `#`, in tenths of a mmol/L, `6.2 mmol/L`.
impl fmt::Display for Glucose {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if f.alternate() {
            tenths(f, self.tenths_mmol_l().into(), "mmol/L")
        } else {
            write!(f, "{} mg/dL", self.whole_mg_dl())
        }
    }
}

/// In tenths of a mg/dL per minute: `-1.5 mg/dL/min`.
impl fmt::Display for Rate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        tenths(f, self.tenths_mg_dl_per_min().into(), "mg/dL/min")
    }
}

/// In whole per cent: `30 %`; a chance that is no certainty is never shown as one.
impl fmt::Display for Probability {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 100")]
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.get(), crate::math::round(self.get() * 100.0) as u8) {
            (share, 0) if share > 0.0 => f.write_str("under 1 %"),
            (share, 100) if share < 1.0 => f.write_str("over 99 %"),
            (_, percent) => write!(f, "{percent} %"),
        }
    }
}

/// In the largest units that leave nothing over: `45 s`, `15 min`, `1 h 30 min`, `10 d`.
impl fmt::Display for Span {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let seconds = self.secs().unsigned_abs();
        f.write_str(if self.secs() < 0 { "-" } else { "" })?;
        let (mut rest, mut first) = (seconds, true);
        for (unit, name) in [(86_400_u32, "d"), (3_600, "h"), (60, "min"), (1, "s")] {
            let count = rest.checked_div(unit).unwrap_or(0);
            rest = rest.checked_rem(unit).unwrap_or(0);
            if count > 0 || (seconds == 0 && unit == 1) {
                write!(f, "{}{count} {name}", if first { "" } else { " " })?;
                first = false;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::format;

    #[test]
    fn values_are_written_as_people_read_them() {
        let glucose = |mg_dl| Glucose::clamped(mg_dl);
        assert_eq!(format!("{}, {:#}", glucose(111.6), glucose(111.6)), "112 mg/dL, 6.2 mmol/L");
        assert_eq!(format!("{:#}, {:#}", glucose(0.0), glucose(180.0)), "0.0 mmol/L, 10.0 mmol/L");
        let rates = [-1.46, -0.04, 0.0, 12.34].map(|rate| format!("{}", Rate::clamped(rate)));
        assert_eq!(rates, ["-1.5 mg/dL/min", "0.0 mg/dL/min", "0.0 mg/dL/min", "12.3 mg/dL/min"]);
        let shares = [0.0, 0.001, 0.3, 0.999, 1.0].map(|share| format!("{}", Probability::clamped(share)));
        assert_eq!(shares, ["0 %", "under 1 %", "30 %", "over 99 %", "100 %"]);
        let spans = [0, 45, 900, 5_400, 86_400, 90_061, -61, i32::MIN];
        let written = spans.map(|secs| format!("{}", Span::from_secs(secs)));
        let want = ["0 s", "45 s", "15 min", "1 h 30 min", "1 d", "1 d 1 h 1 min 1 s", "-1 min 1 s"];
        assert_eq!(written[..7], want);
        assert_eq!(written[7], "-24855 d 3 h 14 min 8 s");
    }
}
