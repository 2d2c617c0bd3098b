//! Lengths and numbers as board files write them.

use serde::{Deserialize, Serialize};

/// The unit of a length in a board file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LengthUnit {
    /// Millimetres.
    Millimeter,
    /// Thousandths of an inch.
    Mil,
    /// Inches of 25.4 mm exactly.
    Inch,
}

/// Endings of headings and cells that state a unit, in lower case.
pub(super) const UNIT_SPELLINGS: &[&str] = &[
    "mm",
    "millimeter",
    "millimeters",
    "millimetre",
    "millimetres",
    "mil",
    "mils",
    "thou",
    "inch",
    "inches",
    "in",
];

impl LengthUnit {
    /// How many millimetres one unit is (the inch is 25.4 mm exactly since 1959).
    #[must_use]
    pub const fn millimeters(self) -> f64 {
        match self {
            Self::Millimeter => 1.0,
            Self::Mil => 0.0254,
            Self::Inch => 25.4,
        }
    }

    /// The unit of this name, in lower case letters.
    pub(super) fn named(name: &str) -> Option<Self> {
        Some(match name {
            "mm" | "millimeter" | "millimeters" | "millimetre" | "millimetres" => Self::Millimeter,
            "mil" | "mils" | "thou" => Self::Mil,
            "in" | "inch" | "inches" | "\"" => Self::Inch,
            _ => return None,
        })
    }

    /// The unit that a remark such as "Units used = mil" states.
    pub(super) fn in_remark(remark: &str) -> Option<Self> {
        let lower = remark.to_lowercase();
        if !lower.contains("unit") {
            return None;
        }
        // "in" is also a word of remarks, so it counts only at the end.
        let mut words =
            lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).peekable();
        while let Some(word) = words.next() {
            if let Some(unit) = Self::named(word).filter(|_| word != "in" || words.peek().is_none()) {
                return Some(unit);
            }
        }
        None
    }
}

/// Which sign separates the decimals in a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DecimalSign {
    Point,
    Comma,
}

impl DecimalSign {
    /// The comma, unless some number of the file holds a point: a file does not use both.
    pub(super) fn of<'a>(numbers: impl IntoIterator<Item = &'a str>) -> Self {
        if numbers.into_iter().any(|number| number.contains('.')) { Self::Point } else { Self::Comma }
    }

    /// The number and the text after it; `None` when it does not start with a number.
    ///
    /// In a file with decimal points a comma may only set off thousands: "12,5" is refused rather
    /// than read as 125.
    pub(super) fn read(self, text: &str) -> Option<(f64, &str)> {
        let text = text.trim();
        let is_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | ',' | '+' | '-');
        let mut end = text.find(|c: char| !is_number(c)).unwrap_or(text.len());
        // An exponent: 1.5e+01.
        if let Some(exponent) = text.get(end..).and_then(|rest| rest.strip_prefix(['e', 'E'])) {
            let digits = exponent.trim_start_matches(['+', '-']);
            if digits.starts_with(|c: char| c.is_ascii_digit()) {
                let length = digits.find(|c: char| !c.is_ascii_digit()).unwrap_or(digits.len());
                end += 1 + (exponent.len() - digits.len()) + length;
            }
        }
        let (number, rest) = text.split_at_checked(end)?;
        let number = match self {
            Self::Comma => number.replace(',', "."),
            Self::Point => {
                let whole = number.split('.').next()?;
                let mut groups = whole.split(',').skip(1);
                if number.rfind(',') > number.find('.') && number.contains('.')
                    || !groups.all(|group| group.len() == 3)
                {
                    return None;
                }
                number.replace(',', "")
            }
        };
        let value: f64 = number.parse().ok()?;
        value.is_finite().then_some((value, rest.trim()))
    }
}

/// A number with the unit that follows it, if one does.
pub(super) fn read_length(text: &str, sign: DecimalSign) -> Option<(f64, Option<LengthUnit>)> {
    let (value, rest) = sign.read(text)?;
    if rest.is_empty() {
        return Some((value, None));
    }
    Some((value, Some(LengthUnit::named(&rest.to_lowercase())?)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_their_file_writes_them() {
        use DecimalSign::{Comma, Point};
        let cases = [
            (Point, "12.5", Some(12.5)),
            (Point, "-3", Some(-3.0)),
            (Point, "1,234.5", Some(1234.5)),
            (Point, "1.5e+01", Some(15.0)),
            (Point, "12,5", None),
            (Point, "1.234,5", None),
            (Point, "x", None),
            (Point, "", None),
            (Comma, "12,5", Some(12.5)),
            (Comma, "1,234,5", None),
        ];
        for (sign, text, value) in cases {
            assert_eq!(sign.read(text).map(|(value, _)| value), value, "{sign:?} {text}");
        }
    }

    #[test]
    fn a_length_may_carry_its_unit() {
        let read = |text| read_length(text, DecimalSign::Point);
        assert_eq!(read("484mil"), Some((484.0, Some(LengthUnit::Mil))));
        assert_eq!(read("12.3 mm"), Some((12.3, Some(LengthUnit::Millimeter))));
        assert_eq!(read("1.5\""), Some((1.5, Some(LengthUnit::Inch))));
        assert_eq!(read("12.3 furlongs"), None);
    }

    #[test]
    fn a_remark_states_a_unit_only_where_it_speaks_of_units() {
        assert_eq!(LengthUnit::in_remark("Units used:  mil"), Some(LengthUnit::Mil));
        assert_eq!(LengthUnit::in_remark("# Unit = mm, Angle = deg."), Some(LengthUnit::Millimeter));
        assert_eq!(LengthUnit::in_remark("units: in"), Some(LengthUnit::Inch));
        assert_eq!(LengthUnit::in_remark("parts in this unit"), None);
        assert_eq!(LengthUnit::in_remark("board 80 mm wide"), None);
    }
}
