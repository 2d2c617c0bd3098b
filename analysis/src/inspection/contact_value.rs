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
    /// One step of the last digit that was typed, in the same unit.
    pub resolution: f64,
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
        // 3.4 is within 3.3 ± 0.1, which binary fractions would deny.
        let size = self.expected.abs().max(self.read.abs());
        let rounding = if size.is_finite() { 1e-12 * size } else { 0.0 };
        // Two open paths agree.
        self.read != self.expected && (self.read - self.expected).abs() - rounding > self.tolerance
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
/// way of IEC 60062 (named from memory). A comma is a decimal comma. A unit that stands once, behind the tolerance, is
/// the value's too, unless its prefix would make the value smaller than its tolerance: `3.3 ± 50 mV` is of 3.3 V.
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
        return Some(ContactValue { value: f64::INFINITY, tolerance: None, resolution: 0.0 });
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
    let mut value = value_in(quantity, number, unit_text, temperature)?;
    let mut value_unit = unit_text;
    let tolerance = match (off_number, percent) {
        (None, _) => None,
        // A percentage of a temperature has no meaning.
        (Some(_), Some(_)) if quantity == ProbeQuantity::ContactTemperature => return None,
        (Some(share), Some(_)) => Some((value * share / 100.0).abs()),
        (Some(size), None) => Some(size_in(quantity, size, unit_text, temperature)?),
    };
    if rest.is_empty() && tolerance.is_some_and(|size| size > value.abs()) && number.abs() > value.abs() {
        (value, value_unit) = (number, "");
    }
    let last_digit = 10_f64.powi(-(decimals(main) as i32));
    let resolution = size_in(quantity, last_digit, value_unit, temperature)?;
    Some(ContactValue { value, tolerance, resolution })
}

/// The text as it is kept: a temperature without a unit gets the person's present one, since a later choice of another
/// must not change what was read. Any other text stays as it is.
#[must_use]
pub fn with_own_unit(quantity: ProbeQuantity, text: &str, temperature: TemperatureUnit) -> String {
    let read = |unit| read_contact(quantity, text, unit);
    let follows_the_display = read(TemperatureUnit::Kelvin) != read(TemperatureUnit::Celsius);
    if follows_the_display && read(temperature).is_some() {
        return format!("{} {}", text.trim(), temperature.symbol());
    }
    text.to_owned()
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
    let (step, prefix) = prefix_for(value.abs());
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

/// An electrical value and what it may be off by, to two digits of the latter and none of them rounded inwards:
/// `2.50410 V ± 0.00050 V`. For a temperature and for what is not finite, [`write_contact`] alone.
#[must_use]
pub fn write_with_tolerance(quantity: ProbeQuantity, value: f64, tolerance: f64) -> String {
    let unit = TemperatureUnit::Kelvin;
    let is_written = quantity != ProbeQuantity::ContactTemperature && value.is_finite();
    if !is_written || !tolerance.is_finite() || tolerance <= 0.0 {
        return write_contact(quantity, value, unit);
    }
    let (step, prefix) = prefix_for(value.abs().max(tolerance));
    let (shown, off) = (value / step, tolerance / step);
    let digits = (1.0 - off.log10().floor()).clamp(0.0, 12.0) as usize;
    let last = 10_f64.powi(-(digits as i32));
    // What the value loses by rounding is added, so that the whole interval stays inside.
    let lost = (shown - (shown / last).round() * last).abs();
    let off = ((off + lost) / last - 1e-6).ceil() * last;
    let sign = contact_unit(quantity, unit);
    format!("{shown:.digits$} {prefix}{sign} ± {off:.digits$} {prefix}{sign}").replace('-', "−")
}

/// The step of a thousand that a size is written in, and its sign.
fn prefix_for(size: f64) -> (f64, &'static str) {
    let steps = [(1e9, "G"), (1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n")];
    let fits = steps.into_iter().find(|(step, _)| size >= *step * 0.9995);
    fits.filter(|_| size > 0.0).unwrap_or((1.0, ""))
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

/// How far off a reading may be where nobody says: our own rule, wide enough for a bench meter and usual parts (common
/// practice, no source).
fn usual_tolerance(quantity: ProbeQuantity, expected: f64) -> f64 {
    let size = expected.abs();
    let (share, least) = match quantity {
        ProbeQuantity::Voltage => (0.05, least_of_small(size, 0.05, 0.001)),
        ProbeQuantity::Current => (0.1, least_of_small(size, 0.002, 1e-6)),
        ProbeQuantity::Frequency => (0.05, 1.0),
        ProbeQuantity::ResistanceUnpowered => (0.1, 0.5),
        ProbeQuantity::ContactTemperature => return 3.0,
    };
    if expected.is_infinite() { 0.0 } else { (share * size).max(least) }
}

/// A quarter of a small value, no more than `usual` and no less than a meter's `finest`; nothing at all says no scale.
fn least_of_small(size: f64, usual: f64, finest: f64) -> f64 {
    if size > 0.0 { (0.25 * size).clamp(finest, usual) } else { usual }
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

/// Reads a number of an electrical unit, with a prefix of thousands or the unit behind it or not: `650m`, `650 mW`, `0.65`
/// for `W`. In that unit; `None` where it is no such number.
#[must_use]
pub fn read_electrical(text: &str, unit: &str) -> Option<f64> {
    let (number, rest) = leading_number(text.trim())?;
    let prefix = rest.strip_suffix(unit).unwrap_or(rest).trim();
    Some(number * if prefix.is_empty() { 1.0 } else { step_of(prefix)? })
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

/// How many digits stand behind the decimal sign, or behind the letter in its place.
fn decimals(text: &str) -> usize {
    let is_whole = |letter: char| letter.is_ascii_digit() || matches!(letter, '-' | '−' | '+');
    let mut behind = text.trim_start_matches(is_whole).chars();
    behind.next();
    behind.take_while(char::is_ascii_digit).count()
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
    if known.contains(&unit) {
        return Some(1.0);
    }
    if is_resistance && unit == "K" {
        return Some(1e3);
    }
    // The prefix alone is usual on resistors, as in 10k, and quick on a list of readings.
    if let Some(step) = step_of(unit) {
        return Some(step);
    }
    known.iter().find_map(|symbol| step_of(unit.strip_suffix(symbol)?.trim()))
}

/// What a prefix multiplies by.
fn step_of(prefix: &str) -> Option<f64> {
    PREFIXES.iter().find(|(known, _)| *known == prefix).map(|(_, step)| *step)
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

    #[test]
    fn a_power_may_be_typed_with_its_prefix_and_its_unit() {
        for text in ["0.65", "0,65 W", "650m", "650 mW", "650mW"] {
            let watts = read_electrical(text, "W").unwrap();
            assert!((watts - 0.65).abs() < 1e-12, "{text}: {watts}");
        }
        assert_eq!(read_electrical("1k2", "W"), Some(1200.0));
        for text in ["650 mV", "650 x", "m", ""] {
            assert_eq!(read_electrical(text, "W"), None, "{text}");
        }
    }

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
            (Voltage, "3.3 ± 50 mV", 3.3, Some(0.05)),
            (Voltage, "330 ± 50 mV", 0.33, Some(0.05)),
            (Voltage, "0.3 mV ± 1.2 mV", 0.0003, Some(0.0012)),
            (ResistanceUnpowered, "4.7 ± 10 kΩ", 4700.0, Some(10e3)),
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
        assert_eq!(beyond(Voltage, "3.3 ± 0.1 V", "3.4"), Some(false));
        // What is small is not excused by what is usual on a supply.
        assert_eq!(beyond(Current, "250 µA", "2 mA"), Some(true));
        assert_eq!(beyond(Current, "250 µA", "260 µA"), Some(false));
        assert_eq!(beyond(Voltage, "10 mV", "55 mV"), Some(true));
        assert_eq!(beyond(Voltage, "10 mV", "11 mV"), Some(false));
        assert_eq!(beyond(Voltage, "0 V", "20 mV"), Some(false));
        assert_eq!(beyond(Voltage, "3.3 V", "3.5 V"), Some(true));
        assert_eq!(beyond(ResistanceUnpowered, "open", "open"), Some(false));
        assert_eq!(beyond(ResistanceUnpowered, "open", "12"), Some(true));
        assert_eq!(beyond(Voltage, "3.3", "as usual"), None);
    }

    #[test]
    fn a_temperature_keeps_the_unit_it_was_read_in() {
        for (typed, kept) in [
            ("61", "61 °C"),
            (" 61 ± 2", "61 ± 2 °C"),
            ("-5", "-5 °C"),
            ("142 °F", "142 °F"),
            ("334 K", "334 K"),
            ("61 °C ± 2", "61 °C ± 2"),
            ("too hot", "too hot"),
            ("", ""),
        ] {
            let written = with_own_unit(ContactTemperature, typed, CELSIUS);
            assert_eq!(written, kept);
            let later = read_contact(ContactTemperature, &written, TemperatureUnit::Fahrenheit);
            assert_eq!(later, read_contact(ContactTemperature, typed, CELSIUS), "{typed}");
        }
        assert_eq!(with_own_unit(Voltage, "3.3", CELSIUS), "3.3");
    }

    #[test]
    fn the_last_digit_that_was_typed_is_known() {
        for (quantity, text, step) in [
            (Voltage, "3.30", 0.01),
            (Voltage, "3340 mV", 0.001),
            (Voltage, "3.3 ± 50 mV", 0.1),
            (ResistanceUnpowered, "4k7", 100.0),
            (ContactTemperature, "142.0 °F", 0.1 / 1.8),
        ] {
            let read = read_contact(quantity, text, CELSIUS).unwrap();
            assert!((read.resolution / step - 1.0).abs() < 1e-9, "{text}: {read:?}");
        }
    }

    #[test]
    fn a_value_with_its_tolerance_loses_nothing_by_being_written() {
        assert_eq!(write_with_tolerance(Voltage, 3.32, 0.0994), "3.320 V ± 0.100 V");
        for (quantity, value, tolerance) in [
            (Voltage, 2.5041, 0.000_497),
            (Voltage, 0.000_3, 0.0012),
            (Voltage, -12.034_56, 0.021),
            (Current, 0.012_345, 0.000_11),
            (ResistanceUnpowered, 4712.0, 1234.0),
            (ResistanceUnpowered, 0.0, 0.3),
        ] {
            let written = write_with_tolerance(quantity, value, tolerance);
            let read = read_contact(quantity, &written, CELSIUS).unwrap();
            let allowed = read.tolerance.unwrap();
            let moved = (read.value - value).abs();
            assert!(allowed - moved >= tolerance * (1.0 - 1e-5), "{written}");
            assert!(allowed <= tolerance * 1.2, "{written}");
        }
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
