//! Temperatures and differences as numbers in the unit the person reads.

use crate::units::{Kelvin, KelvinDifference, TemperatureUnit};

/// The session's temperature unit, at work.
#[derive(Debug, Clone, Copy)]
pub(super) struct InUnit(pub(super) TemperatureUnit);

impl InUnit {
    /// `85.31`: a temperature without its unit.
    pub(super) fn temperature(self, value: Kelvin, decimals: usize) -> String {
        number(self.0.show(value.value()), decimals)
    }

    /// `-2.40`: a difference without its unit.
    pub(super) fn difference(self, value: KelvinDifference, decimals: usize) -> String {
        number(self.0.show_difference(value.value()), decimals)
    }

    /// `85.3 °C`, for reading.
    pub(super) fn read_temperature(self, value: Kelvin) -> String {
        format!("{} {}", typeset(&self.temperature(value, 1)), self.0.symbol())
    }

    /// `+12.4 K`, for reading: a difference always shows its sign.
    pub(super) fn read_difference(self, value: KelvinDifference) -> String {
        let number = self.difference(value, 1);
        let plus = if number.starts_with('-') || number == "0.0" { "" } else { "+" };
        format!("{plus}{} {}", typeset(&number), self.0.difference_symbol())
    }

    /// `0.08 K`, for reading: a difference that is a size and has no sign.
    pub(super) fn read_size(self, value: KelvinDifference) -> String {
        let number = self.0.show_difference(value.value().abs());
        let decimals = if number < 1.0 { 3 } else { 1 };
        format!("{number:.decimals$} {}", self.0.difference_symbol())
    }

    /// `1.15 K`: a size that a person stated, to a thousandth, without needless zeros.
    pub(super) fn read_stated(self, value: KelvinDifference) -> String {
        let rounded = (self.0.show_difference(value.value().abs()) * 1000.0).round() / 1000.0;
        format!("{rounded} {}", self.0.difference_symbol())
    }
}

/// A number with fixed decimals; a zero has no sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let written = format!("{value:.decimals$}");
    let is_zero = written.starts_with('-') && !written.contains(|c: char| ('1'..='9').contains(&c));
    if is_zero { written.trim_start_matches('-').to_owned() } else { written }
}

/// The number with a true minus sign in place of the hyphen.
pub(super) fn typeset(number: &str) -> String {
    number.replace('-', "\u{2212}")
}

/// `1 place`, `2 places`.
pub(super) fn count_of(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_difference_scales_without_offset_and_shows_its_sign() {
        let fahrenheit = InUnit(TemperatureUnit::Fahrenheit);
        assert_eq!(fahrenheit.read_difference(KelvinDifference::known(10.0)), "+18.0 °F");
        assert_eq!(fahrenheit.read_difference(KelvinDifference::known(-10.0)), "−18.0 °F");
        assert_eq!(fahrenheit.read_temperature(Kelvin::known(373.15)), "212.0 °F");
    }

    #[test]
    fn what_rounds_to_zero_has_no_sign() {
        assert_eq!(number(-0.004, 2), "0.00");
        assert_eq!(number(-0.006, 2), "-0.01");
    }
}
