//! How moments of a recording are written, all in one way.

use crate::wording;

/// A moment since the recording began: `42.5 s`, `3 min 15 s`, `11 min 15.2 s`.
#[must_use]
pub fn moment_words(time_s: f64) -> String {
    // Rounded first, so that no minute has sixty seconds.
    let tenths = (time_s.abs() * 10.0).round();
    if !time_s.is_finite() || tenths < 600.0 {
        return wording::seconds(time_s);
    }
    let sign = if time_s < 0.0 { "−" } else { "" };
    let (minutes, tenths) = ((tenths / 600.0).floor(), tenths % 600.0);
    let digits = usize::from(tenths % 10.0 != 0.0);
    format!("{sign}{minutes:.0} min {} s", wording::number(tenths / 10.0, digits))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minutes_are_written_from_the_first_on_and_never_hold_sixty_seconds() {
        assert_eq!(moment_words(59.94), "59.9 s");
        assert_eq!(moment_words(59.97), "1 min 0 s");
        assert_eq!(moment_words(195.0), "3 min 15 s");
        assert_eq!(moment_words(675.2), "11 min 15.2 s");
        assert_eq!(moment_words(-90.0), "−1 min 30 s");
    }
}
