//! Numbers with their units, and the words shared by steps, picture and read-outs.
//!
//! Never more digits than the measurement has: 0.1 for temperatures, 0.01 for differences below 10.

use analysis::board::Side;
use analysis::inspection::{Basis, Finding, ProbeQuantity, ProbeVerdict, Sign, read_electrical};
use analysis::session::{Outcome, Role};
use analysis::surface::Finish;
use analysis::units::TemperatureUnit;

/// What stands where there is no reading.
pub const NO_READING: &str = "no reading";

/// A number with `digits` decimals and a true minus sign.
#[must_use]
pub fn number(value: f64, digits: usize) -> String {
    let text = format!("{value:.digits$}");
    match text.strip_prefix('-') {
        // A zero has no sign, however it was rounded to.
        Some(rest) if rest.bytes().all(|byte| matches!(byte, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text,
    }
}

/// A temperature in the person's unit, to 0.1: `61.4 °C`.
#[must_use]
pub fn temperature(unit: TemperatureUnit, kelvin: f64) -> String {
    if kelvin.is_finite() {
        format!("{} {}", number(unit.show(kelvin), 1), unit.symbol())
    } else {
        NO_READING.to_owned()
    }
}

/// A temperature difference with its sign: `+1.25 K`, `−12.3 K`.
#[must_use]
pub fn difference(unit: TemperatureUnit, kelvin: f64) -> String {
    if !kelvin.is_finite() {
        return NO_READING.to_owned();
    }
    let shown = unit.show_difference(kelvin);
    let digits = if shown.abs() < 10.0 { 2 } else { 1 };
    let text = number(shown, digits);
    let sign = if shown > 0.0 && text.bytes().any(|byte| matches!(byte, b'1'..=b'9')) { "+" } else { "" };
    format!("{sign}{text} {}", unit.difference_symbol())
}

/// A size of a difference, without sign: `2.00 K`.
#[must_use]
pub fn interval(unit: TemperatureUnit, kelvin: f64) -> String {
    difference(unit, kelvin.abs()).trim_start_matches('+').to_owned()
}

/// A rate in the person's unit a minute: `+0.84 K/min`.
#[must_use]
pub fn per_minute(unit: TemperatureUnit, shown: f64) -> String {
    if !shown.is_finite() {
        return NO_READING.to_owned();
    }
    let text = number(shown, 2);
    let sign = if shown > 0.0 && text != "0.00" { "+" } else { "" };
    format!("{sign}{text} {}/min", unit.difference_symbol())
}

/// A change or swing, with more digits the smaller it is: `0.0042 K`.
#[must_use]
pub fn swing(unit: TemperatureUnit, kelvin: f64) -> String {
    if !kelvin.is_finite() {
        return NO_READING.to_owned();
    }
    let shown = unit.show_difference(kelvin);
    let digits = if shown.abs() < 0.1 {
        4
    } else if shown.abs() < 1.0 {
        3
    } else {
        2
    };
    format!("{} {}", number(shown, digits), unit.difference_symbol())
}

/// A time: `0.50 s`, `42.0 s`, `12 min 30 s`.
#[must_use]
pub fn seconds(time_s: f64) -> String {
    if !time_s.is_finite() {
        return "unknown".to_owned();
    }
    match time_s.abs() {
        short if short < 10.0 => format!("{} s", number(time_s, 2)),
        middling if middling < 600.0 => format!("{} s", number(time_s, 1)),
        long => {
            let sign = if time_s < 0.0 { "−" } else { "" };
            let (minutes, seconds) = ((long / 60.0).floor(), long % 60.0);
            format!("{sign}{minutes:.0} min {seconds:.0} s")
        }
    }
}

/// A temperature with half its 95 % interval: `61.4 ± 1.2 °C`.
#[must_use]
pub fn temperature_within(unit: TemperatureUnit, kelvin: f64, expanded: f64) -> String {
    let half = unit.show_difference(expanded);
    format!("{} ± {} {}", number(unit.show(kelvin), 1), number(half, 1), unit.symbol())
}

/// A difference with half its 95 % interval: `+11.5 ± 0.4 K`.
#[must_use]
pub fn difference_within(unit: TemperatureUnit, kelvin: f64, expanded: f64) -> String {
    let half = unit.show_difference(expanded);
    let value = difference(unit, kelvin);
    let value = value.split(' ').next().unwrap_or_default();
    let digits = value.rsplit_once('.').map_or(1, |(_, decimals)| decimals.len());
    format!("{value} ± {} {}", number(half, digits), unit.difference_symbol())
}

/// A temperature that is only known to lie between two others: `40.1 to 95.3 °C`.
#[must_use]
pub fn temperature_between(unit: TemperatureUnit, low: f64, high: f64) -> String {
    let end = |kelvin: f64| number(unit.show(kelvin), 1);
    let symbol = unit.symbol();
    match (low.is_finite(), high.is_finite()) {
        (true, true) => format!("{} to {} {symbol}", end(low), end(high)),
        (true, false) => format!("{} {symbol} or more", end(low)),
        (false, true) => format!("{} {symbol} or less", end(high)),
        (false, false) => "unknown".to_owned(),
    }
}

/// A difference that is only known to lie between two others: `+4.1 to +19.6 K`.
#[must_use]
pub fn difference_between(unit: TemperatureUnit, low: f64, high: f64) -> String {
    let end = |kelvin: f64| {
        let shown = unit.show_difference(kelvin);
        let plus = if shown > 0.0 { "+" } else { "" };
        if kelvin.is_finite() { format!("{plus}{}", number(shown, 1)) } else { "unknown".to_owned() }
    };
    format!("{} to {} {}", end(low), end(high), unit.difference_symbol())
}

/// An emissivity with its standard uncertainty: `0.92 (u = 0.03)`; ± stands for 95 % throughout.
#[must_use]
pub fn emissivity(finish: &Finish) -> String {
    // A third decimal where the second would round the uncertainty away.
    let digits = if finish.uncertainty > 0.0 && finish.uncertainty < 0.0195 { 3 } else { 2 };
    format!("{:.digits$} (u = {:.digits$})", finish.emissivity.value(), finish.uncertainty)
}

/// A fraction as a percentage.
#[must_use]
pub fn percent(fraction: f64) -> String {
    format!("{} %", number(fraction * 100.0, 0))
}

/// A change as a percentage with its sign: `+2.5 %`.
#[must_use]
pub fn signed_percent(change: f64) -> String {
    let sign = if change < 0.0 { "−" } else { "+" };
    format!("{sign}{} %", number(100.0 * change.abs(), 1))
}

/// Whose finding it is: the part under its peak, the part it lies near, or none.
#[must_use]
pub fn place_of(finding: &Finding) -> String {
    match &finding.designator {
        Some(part) if finding.is_beside() => format!("board beside {part}"),
        Some(part) => part.clone(),
        None => "board, no part near".to_owned(),
    }
}

/// A count with its noun: `1 capture`, `3 captures`.
#[must_use]
pub fn count(items: usize, noun: &str) -> String {
    let plural = if items == 1 { "" } else { "s" };
    format!("{items} {noun}{plural}")
}

/// The shortest text of a number a person typed, for a form field.
#[must_use]
pub fn plain(value: f64) -> String {
    // Small numbers, such as the scale of a raw one, need more decimals.
    let steps = if value.abs() < 0.1 { 1e6 } else { 1e4 };
    let rounded = (value * steps).round() / steps;
    format!("{rounded}")
}

/// Reads a number a person typed: decimal comma and true minus are welcome. `None` when it is none.
#[must_use]
pub fn read_number(text: &str) -> Option<f64> {
    let text = text.trim().replace(',', ".").replace('−', "-");
    text.parse().ok().filter(|value: &f64| value.is_finite())
}

/// Units that are often typed with a prefix of thousands.
const ELECTRICAL: [&str; 3] = ["W", "V", "A"];

/// Reads a number that a person typed into a field of this unit, which may stand behind it: `650m` for `W`.
#[must_use]
pub fn read_with_unit(text: &str, unit: &str) -> Option<f64> {
    read_number(text).or_else(|| read_electrical(text, unit).filter(|_| ELECTRICAL.contains(&unit)))
}

/// What a capture is for.
#[must_use]
pub const fn role(role: Role) -> &'static str {
    match role {
        Role::Baseline => "known good",
        Role::Unit => "unit under test",
        Role::Waiting => "waits its turn",
        Role::Aside => "set aside",
    }
}

/// The side of the board.
#[must_use]
pub const fn side(side: Side) -> &'static str {
    match side {
        Side::Top => "top side",
        Side::Bottom => "bottom side",
    }
}

/// What is subtracted.
#[must_use]
pub const fn basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Absolute => "surface temperatures as they are",
        Basis::RiseAboveAmbient => "rise above each capture's ambient",
        Basis::RiseAtEqualPower => "rise above ambient at equal power",
    }
}

/// Warmer or colder than the known-good boards.
#[must_use]
pub const fn sign(sign: Sign) -> &'static str {
    match sign {
        Sign::Hotter => "warmer",
        Sign::Colder => "colder",
    }
}

/// What is measured by contact.
#[must_use]
pub const fn probe_quantity(quantity: ProbeQuantity) -> &'static str {
    match quantity {
        ProbeQuantity::Voltage => "voltage (V)",
        ProbeQuantity::Current => "current (A)",
        ProbeQuantity::Frequency => "frequency (Hz)",
        ProbeQuantity::ResistanceUnpowered => "resistance, unpowered (Ω)",
        ProbeQuantity::ContactTemperature => "contact temperature",
    }
}

/// What a contact reading says of its place.
#[must_use]
pub const fn probe_verdict(verdict: ProbeVerdict) -> &'static str {
    match verdict {
        ProbeVerdict::Pass => "pass",
        ProbeVerdict::Fail => "fail",
        ProbeVerdict::Recheck => "recheck",
    }
}

/// The judgement of the whole unit.
#[must_use]
pub const fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "pass",
        Outcome::Fail => "fail",
        Outcome::Recheck => "recheck",
    }
}

/// Our letters for read-outs: A to Z, then AA, AB …
#[must_use]
pub fn letters(mut index: usize) -> String {
    let mut name = String::new();
    loop {
        name.insert(0, char::from(b'A' + (index % 26) as u8));
        if index < 26 {
            return name;
        }
        index = index / 26 - 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CELSIUS: TemperatureUnit = TemperatureUnit::Celsius;

    #[test]
    fn temperatures_carry_one_decimal_and_their_unit() {
        assert_eq!(temperature(CELSIUS, 334.56), "61.4 °C");
        assert_eq!(temperature(CELSIUS, 268.15), "−5.0 °C");
        assert_eq!(temperature(TemperatureUnit::Fahrenheit, 373.15), "212.0 °F");
        assert_eq!(temperature(CELSIUS, f64::NAN), NO_READING);
    }

    #[test]
    fn small_differences_carry_two_decimals_and_large_ones_one() {
        assert_eq!(difference(CELSIUS, 1.254), "+1.25 K");
        assert_eq!(difference(CELSIUS, -12.34), "−12.3 K");
        assert_eq!(difference(TemperatureUnit::Fahrenheit, 10.0), "+18.0 °F");
        assert_eq!(interval(CELSIUS, -2.0), "2.00 K");
    }

    #[test]
    fn an_emissivity_keeps_the_digits_of_its_uncertainty() {
        let written = |value, uncertainty| {
            let emissivity = analysis::units::Emissivity::new(value).unwrap();
            super::emissivity(&Finish::stated(emissivity, uncertainty))
        };
        assert_eq!(written(0.92, 0.03), "0.92 (u = 0.03)");
        assert_eq!(written(0.055, 0.009), "0.055 (u = 0.009)");
    }

    #[test]
    fn a_difference_that_rounds_to_zero_has_no_sign() {
        assert_eq!(difference(CELSIUS, -0.001), "0.00 K");
        assert_eq!(difference(CELSIUS, 0.001), "0.00 K");
    }

    #[test]
    fn typed_numbers_may_have_a_comma_or_a_true_minus() {
        assert_eq!(read_number(" 2,5 "), Some(2.5));
        assert_eq!(read_number("−4"), Some(-4.0));
        assert_eq!(read_number("inf"), None);
        assert_eq!(read_number("warm"), None);
    }

    #[test]
    fn letters_go_on_after_z() {
        assert_eq!(letters(0), "A");
        assert_eq!(letters(25), "Z");
        assert_eq!(letters(26), "AA");
        assert_eq!(letters(27), "AB");
    }

    #[test]
    fn one_of_a_kind_is_not_plural() {
        assert_eq!(count(1, "capture"), "1 capture");
        assert_eq!(count(0, "capture"), "0 captures");
    }
}
