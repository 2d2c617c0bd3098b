//! A contact reading as a number with its unit: what a person typed, read.

use super::part_kind::{PartKind, kind};
use super::probes::{ProbeQuantity, ProbeReading};
use crate::units::TemperatureUnit;

/// A number, in V, A, Hz, Ω or K, with what it may be off by where that was typed too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContactValue {
    /// The number; infinite for an open path.
    pub value: f64,
    /// How far off it may be, in the same unit.
    pub tolerance: Option<f64>,
}

/// What a reading is off its expected value by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviation {
    /// What it should be.
    pub expected: f64,
    /// What was read.
    pub read: f64,
    /// How far off it may be.
    pub tolerance: f64,
    /// Whether the tolerance was stated; else it is our own usual one.
    pub tolerance_is_stated: bool,
}

impl Deviation {
    /// Whether the reading lies further off than it may.
    #[must_use]
    pub fn is_beyond(&self) -> bool {
        // Two open paths agree.
        self.read != self.expected && (self.read - self.expected).abs() > self.tolerance
    }
}

const PREFIXES: [(&str, f64); 9] = [
    ("p", 1e-12),
    ("n", 1e-9),
    ("µ", 1e-6),
    ("\u{3bc}", 1e-6),
    ("u", 1e-6),
    ("m", 1e-3),
    ("k", 1e3),
    ("M", 1e6),
    ("G", 1e9),
];

const fn symbols(quantity: ProbeQuantity) -> &'static [&'static str] {
    match quantity {
        ProbeQuantity::Voltage => &["V"],
        ProbeQuantity::Current => &["A"],
        ProbeQuantity::Frequency => &["Hz"],
        ProbeQuantity::ResistanceUnpowered => &["Ω", "\u{2126}", "ohm", "Ohm", "ohms", "R"],
        ProbeQuantity::ContactTemperature => &[],
    }
}

/// What is measured, in a word or two.
#[must_use]
pub const fn contact_noun(quantity: ProbeQuantity) -> &'static str {
    match quantity {
        ProbeQuantity::Voltage => "voltage",
        ProbeQuantity::Current => "current",
        ProbeQuantity::Frequency => "frequency",
        ProbeQuantity::ResistanceUnpowered => "resistance",
        ProbeQuantity::ContactTemperature => "contact temperature",
    }
}

/// The sign of the unit that a number without one is in.
#[must_use]
pub const fn contact_unit(quantity: ProbeQuantity, temperature: TemperatureUnit) -> &'static str {
    match quantity {
        ProbeQuantity::Voltage => "V",
        ProbeQuantity::Current => "A",
        ProbeQuantity::Frequency => "Hz",
        ProbeQuantity::ResistanceUnpowered => "Ω",
        ProbeQuantity::ContactTemperature => temperature.symbol(),
    }
}

/// Reads `3.3`, `3.3 V`, `12 mA`, `4.7 kΩ`, `4k7`, `3.3 ± 0.1 V`, `3.3 V ± 5 %`, `61 °C` or `open`; `None` where it is
/// no number of that quantity.
///
/// Without a unit it is V, A, Hz, Ω or the person's unit of temperature. A letter in place of the decimal sign is the
/// way of IEC 60062 (named from memory). A comma is a decimal comma.
#[must_use]
pub fn read_contact(
    quantity: ProbeQuantity,
    text: &str,
    temperature: TemperatureUnit,
) -> Option<ContactValue> {
    let text = text.trim().replace("+/-", "±").replace("+-", "±");
    let (main, off) = match text.split_once('±') {
        Some((main, off)) => (main.trim(), Some(off.trim())),
        None => (text.as_str(), None),
    };
    let is_resistance = quantity == ProbeQuantity::ResistanceUnpowered;
    if is_resistance && ["open", "ol", "o.l.", "∞"].contains(&main.to_lowercase().as_str()) {
        return Some(ContactValue { value: f64::INFINITY, tolerance: None });
    }
    let off_text = off.unwrap_or_default();
    let percent = off_text.strip_suffix('%').map(str::trim);
    // The unit may stand once, behind the tolerance.
    let (number, rest) = leading_number(main)?;
    let (off_number, off_rest) = match (off, percent) {
        (None, _) => (None, ""),
        (Some(_), Some(percent)) => (Some(plain_number(percent)?), ""),
        (Some(off), None) => leading_number(off).map(|(number, rest)| (Some(number), rest))?,
    };
    let unit_text = if rest.is_empty() { off_rest } else { rest };
    if !off_rest.is_empty() && !rest.is_empty() && off_rest != rest {
        // Two units: each number by its own.
        let own = read_contact(quantity, main, temperature)?;
        let size = size_in(quantity, off_number?, off_rest, temperature)?;
        return Some(ContactValue { tolerance: Some(size), ..own });
    }
    let value = value_in(quantity, number, unit_text, temperature)?;
    let tolerance = match (off_number, percent) {
        (None, _) => None,
        // A percentage of a temperature has no meaning.
        (Some(_), Some(_)) if quantity == ProbeQuantity::ContactTemperature => return None,
        (Some(share), Some(_)) => Some((value * share / 100.0).abs()),
        (Some(size), None) => Some(size_in(quantity, size, unit_text, temperature)?),
    };
    Some(ContactValue { value, tolerance })
}

/// A contact value with its unit and three to four digits: `3.31 V`, `12.0 mA`, `4.70 kΩ`.
#[must_use]
pub fn write_contact(quantity: ProbeQuantity, value: f64, temperature: TemperatureUnit) -> String {
    if quantity == ProbeQuantity::ContactTemperature {
        return format!("{:.1} {}", temperature.show(value), temperature.symbol()).replace('-', "−");
    }
    let unit = contact_unit(quantity, temperature);
    if value.is_infinite() {
        return "open".to_owned();
    }
    let size = value.abs();
    let steps = [(1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n")];
    let fits = steps.into_iter().find(|(step, _)| size >= *step * 0.9995);
    let (step, prefix) = fits.filter(|_| size > 0.0).unwrap_or((1.0, ""));
    let shown = value / step;
    let digits = if shown.abs() >= 99.95 {
        0
    } else if shown.abs() >= 9.995 {
        1
    } else {
        2
    };
    format!("{shown:.digits$} {prefix}{unit}").replace('-', "−")
}

/// What a reading is off its expected value by, where both are numbers of the quantity.
#[must_use]
pub fn deviation(
    quantity: ProbeQuantity,
    reading: &ProbeReading,
    temperature: TemperatureUnit,
) -> Option<Deviation> {
    let expected = read_contact(quantity, &reading.expected, temperature)?;
    let read = read_contact(quantity, &reading.read, temperature)?;
    Some(Deviation {
        expected: expected.value,
        read: read.value,
        tolerance: expected.tolerance.unwrap_or_else(|| usual_tolerance(quantity, expected.value)),
        tolerance_is_stated: expected.tolerance.is_some(),
    })
}

/// How far off a reading may be where nobody says: our own rule, wide enough for a bench meter and usual parts.
fn usual_tolerance(quantity: ProbeQuantity, expected: f64) -> f64 {
    let (share, least) = match quantity {
        ProbeQuantity::Voltage => (0.05, 0.05),
        ProbeQuantity::Current => (0.1, 0.002),
        ProbeQuantity::Frequency => (0.05, 1.0),
        ProbeQuantity::ResistanceUnpowered => (0.1, 0.5),
        ProbeQuantity::ContactTemperature => return 3.0,
    };
    if expected.is_infinite() { 0.0 } else { (share * expected.abs()).max(least) }
}

/// What a resistor should read by the value that the placement file gives it, Ω; `None` for any other part.
#[must_use]
pub fn nominal_resistance(designator: &str, value: &str) -> Option<f64> {
    if kind(designator) != PartKind::Resistor {
        return None;
    }
    let read = |text: &str| {
        read_contact(ProbeQuantity::ResistanceUnpowered, text, TemperatureUnit::Kelvin).map(|read| read.value)
    };
    let words: Vec<_> = value.split([' ', ',', '/', ';']).filter(|word| !word.is_empty()).collect();
    // "4.7 kΩ 1 %" and "10k 1%": the first word, with the second where that is its unit.
    let two = words.get(..2).and_then(|two| read(&two.join(" ")));
    two.or_else(|| words.first().and_then(|word| read(word))).filter(|ohms| ohms.is_finite() && *ohms >= 0.0)
}

/// The number at the start of a text, and what stands behind it.
fn leading_number(text: &str) -> Option<(f64, &str)> {
    let belongs = |letter: char| letter.is_ascii_digit() || matches!(letter, '.' | ',' | '-' | '−' | '+');
    let end = text.find(|letter| !belongs(letter)).unwrap_or(text.len());
    let (number, rest) = text.split_at(end);
    // A letter between digits is the decimal sign: 4k7.
    let mut letters = rest.chars();
    if let (Some(letter), after) = (letters.next(), letters.as_str())
        && letter.is_alphabetic()
        && after.bytes().next().is_some_and(|byte| byte.is_ascii_digit())
        && number.bytes().all(|byte| byte.is_ascii_digit())
    {
        let digits = after.bytes().take_while(u8::is_ascii_digit).count();
        let behind = &after[digits..];
        if behind.trim().is_empty() {
            let number = plain_number(&format!("{number}.{}", &after[..digits]))?;
            return Some((number, &rest[..letter.len_utf8()]));
        }
    }
    Some((plain_number(number)?, rest.trim()))
}

fn plain_number(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".").replace('−', "-");
    text.parse().ok().filter(|value: &f64| value.is_finite())
}

/// What one step of the unit is, in the quantity's own unit; `None` for a unit of something else.
fn factor(quantity: ProbeQuantity, unit: &str) -> Option<f64> {
    if unit.is_empty() {
        return Some(1.0);
    }
    let known = symbols(quantity);
    let is_resistance = quantity == ProbeQuantity::ResistanceUnpowered;
    let prefix = |text: &str| PREFIXES.iter().find(|(prefix, _)| *prefix == text).map(|(_, factor)| *factor);
    if known.contains(&unit) {
        return Some(1.0);
    }
    if is_resistance && unit == "K" {
        return Some(1e3);
    }
    // The prefix alone is usual on resistors, as in 10k, and quick on a list of readings.
    if let Some(factor) = prefix(unit) {
        return Some(factor);
    }
    known.iter().find_map(|symbol| prefix(unit.strip_suffix(symbol)?.trim()))
}

fn scale_of(unit: &str, temperature: TemperatureUnit) -> Option<TemperatureUnit> {
    match unit {
        "" => Some(temperature),
        "°C" | "degC" | "C" | "℃" => Some(TemperatureUnit::Celsius),
        "°F" | "degF" | "F" | "℉" => Some(TemperatureUnit::Fahrenheit),
        "K" => Some(TemperatureUnit::Kelvin),
        _ => None,
    }
}

fn value_in(quantity: ProbeQuantity, number: f64, unit: &str, temperature: TemperatureUnit) -> Option<f64> {
    if quantity == ProbeQuantity::ContactTemperature {
        let kelvin = scale_of(unit, temperature)?.read(number);
        return (kelvin >= 0.0).then_some(kelvin);
    }
    Some(number * factor(quantity, unit)?)
}

/// The size of a tolerance: kelvins of a temperature have no offset.
fn size_in(quantity: ProbeQuantity, number: f64, unit: &str, temperature: TemperatureUnit) -> Option<f64> {
    if quantity == ProbeQuantity::ContactTemperature {
        return Some(number.abs() / scale_of(unit, temperature)?.show_difference(1.0));
    }
    Some((number * factor(quantity, unit)?).abs())
}

#[cfg(test)]
mod tests {
    use super::*;
    use ProbeQuantity::{ContactTemperature, Current, Frequency, ResistanceUnpowered, Voltage};

    const CELSIUS: TemperatureUnit = TemperatureUnit::Celsius;

    fn close(read: Option<ContactValue>, value: f64, tolerance: Option<f64>) -> bool {
        let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * b.abs().max(1e-9);
        read.is_some_and(|read| {
            near(read.value, value)
                && match (read.tolerance, tolerance) {
                    (Some(a), Some(b)) => near(a, b),
                    (a, b) => a == b,
                }
        })
    }

    #[test]
    fn numbers_are_read_in_the_manners_that_people_write_them() {
        // Prefixes as in the SI brochure, 9th edition, table 7; the letter code as in IEC 60062 (from memory).
        for (quantity, text, value, tolerance) in [
            (Voltage, "3.3", 3.3, None),
            (Voltage, " 3,3 V", 3.3, None),
            (Voltage, "−12 mV", -0.012, None),
            (Voltage, "3.3 ± 0.1 V", 3.3, Some(0.1)),
            (Voltage, "3.3 V +/- 5 %", 3.3, Some(0.165)),
            (Voltage, "3.3 V ± 50 mV", 3.3, Some(0.05)),
            (Current, "12 mA", 0.012, None),
            (Current, "250 µA", 250e-6, None),
            (Frequency, "16 MHz", 16e6, None),
            (ResistanceUnpowered, "4k7", 4700.0, None),
            (ResistanceUnpowered, "0R05", 0.05, None),
            (ResistanceUnpowered, "10K", 10e3, None),
            (ResistanceUnpowered, "4.7 kΩ ± 1 %", 4700.0, Some(47.0)),
            (ResistanceUnpowered, "33 ohm", 33.0, None),
            (ResistanceUnpowered, "open", f64::INFINITY, None),
            (ContactTemperature, "61", 334.15, None),
            (ContactTemperature, "212 °F", 373.15, None),
            (ContactTemperature, "61 ± 2 °C", 334.15, Some(2.0)),
        ] {
            let read = read_contact(quantity, text, CELSIUS);
            let open = value.is_infinite() && read.is_some_and(|read| read.value.is_infinite());
            assert!(open || close(read, value, tolerance), "{text}: {read:?}");
        }
    }

    #[test]
    fn words_and_units_of_something_else_are_no_number() {
        for (quantity, text) in [
            (Voltage, "about right"),
            (Voltage, "3.3 A"),
            (Voltage, ""),
            (Current, "5 V"),
            (Voltage, "open"),
            (ContactTemperature, "-400"),
            (ContactTemperature, "60 ± 5 %"),
            (Voltage, "3.3 ± much"),
        ] {
            assert_eq!(read_contact(quantity, text, CELSIUS), None, "{text}");
        }
    }

    #[test]
    fn a_reading_is_beyond_what_it_may_be_off_by() {
        let reading = |expected: &str, read: &str| ProbeReading {
            expected: expected.to_owned(),
            read: read.to_owned(),
            ..ProbeReading::default()
        };
        let beyond = |quantity, expected, read| {
            deviation(quantity, &reading(expected, read), CELSIUS).map(|deviation| deviation.is_beyond())
        };
        assert_eq!(beyond(Voltage, "3.3 ± 0.1 V", "3.35"), Some(false));
        assert_eq!(beyond(Voltage, "3.3 ± 0.1 V", "3.45"), Some(true));
        assert_eq!(beyond(ResistanceUnpowered, "open", "open"), Some(false));
        assert_eq!(beyond(ResistanceUnpowered, "open", "12"), Some(true));
        assert_eq!(beyond(Voltage, "3.3", "as usual"), None);
    }

    #[test]
    fn only_resistors_have_a_resistance_by_their_value() {
        assert_eq!(nominal_resistance("R3", "10 kΩ"), Some(10e3));
        assert_eq!(nominal_resistance("R1", "0.1 Ω"), Some(0.1));
        assert_eq!(nominal_resistance("R9", "4k7 1%"), Some(4700.0));
        assert_eq!(nominal_resistance("C3", "10"), None);
        assert_eq!(nominal_resistance("R3", "shunt"), None);
    }

    #[test]
    fn values_carry_their_unit_and_few_digits() {
        assert_eq!(write_contact(Voltage, 3.312, CELSIUS), "3.31 V");
        assert_eq!(write_contact(Current, 0.012, CELSIUS), "12.0 mA");
        assert_eq!(write_contact(ResistanceUnpowered, 52_300.0, CELSIUS), "52.3 kΩ");
        assert_eq!(write_contact(Voltage, 0.0, CELSIUS), "0.00 V");
        assert_eq!(write_contact(ContactTemperature, 334.15, CELSIUS), "61.0 °C");
    }
}
