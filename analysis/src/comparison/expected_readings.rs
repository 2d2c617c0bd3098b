//! What a contact reading should be, where the board file or other units' records tell.

use crate::content_hash::ContentHash;
use crate::inspection::{
    ContactValue, ProbeKey, ProbeQuantity, ProbeVerdict, nominal_resistance, read_contact, write_contact,
};
use crate::population::PredictionInterval;
use crate::session::{Outcome, Session, UnitNotes};

/// Something that tells what a reading should be.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedReading {
    /// To be entered as it stands: `3.31 ± 0.04 V`.
    pub text: String,
    /// Where it comes from.
    pub origin: String,
}

/// What of other units' readings the next healthy one keeps to, with this probability.
const COVERAGE: f64 = 0.95;
/// Of fewer readings nobody can tell how far they waver.
const LEAST_READINGS: usize = 3;

/// What the reading should be, the best first: by other units that were judged to pass, else by the placement file's
/// value.
#[must_use]
pub fn expected_readings(session: &Session, key: &ProbeKey) -> Vec<ExpectedReading> {
    let unit = session.temperature_unit;
    let elsewhere = read_on_healthy_units(session, key);
    let values: Vec<f64> = elsewhere.iter().map(|(_, read)| read.value).filter(|v| v.is_finite()).collect();
    let count = values.len();
    let mean = values.iter().sum::<f64>() / count as f64;
    let of_others = (count > 0).then(|| {
        let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
        let freedom = count as f64 - 1.0;
        let interval = PredictionInterval { count, freedom, coverage: COVERAGE };
        let mut text = write_contact(key.quantity, mean, unit);
        if count >= LEAST_READINGS {
            let half = interval.half_width((squares / freedom).sqrt());
            text = format!("{text} ± {}", write_size(key.quantity, half, session));
        }
        let names: Vec<_> = elsewhere.iter().map(|(name, _)| name.as_str()).collect();
        ExpectedReading { text, origin: format!("read on units that passed: {}", names.join(", ")) }
    });
    let of_value = || {
        let part = session.layout.placements.iter().find(|part| part.designator == key.target)?;
        let ohms = nominal_resistance(&part.designator, &part.value)?;
        Some(ExpectedReading {
            text: write_contact(key.quantity, ohms, unit),
            origin: "by its value in the placement file; what lies parallel to it on the board takes from it"
                .to_owned(),
        })
    };
    let by_file = (key.quantity == ProbeQuantity::ResistanceUnpowered).then(of_value).flatten();
    of_others.into_iter().chain(by_file).collect()
}

/// A half-width beside its value, in the value's unit.
fn write_size(quantity: ProbeQuantity, size: f64, session: &Session) -> String {
    match quantity {
        ProbeQuantity::ContactTemperature => {
            let unit = session.temperature_unit;
            format!("{:.1} {}", unit.show_difference(size), unit.symbol())
        }
        _ => write_contact(quantity, size, session.temperature_unit),
    }
}

/// The same measurement on units that are not on the bench: as the reading or else the unit was judged to pass.
fn read_on_healthy_units(session: &Session, key: &ProbeKey) -> Vec<(String, ContactValue)> {
    let passed = |notes: &UnitNotes| notes.verdict.as_ref().is_some_and(|v| v.outcome == Outcome::Pass);
    let read = |notes: &UnitNotes| {
        let (_, reading) = notes.readings.iter().find(|(known, _)| known == key)?;
        let healthy = match reading.verdict {
            Some(verdict) => verdict == ProbeVerdict::Pass,
            None => passed(notes),
        };
        let value = read_contact(key.quantity, &reading.read, session.temperature_unit)?;
        healthy.then(|| (name_of(session, &notes.capture, &notes.board.serial), value))
    };
    session.other_units.iter().filter_map(read).collect()
}

/// A unit's serial number, or its file's name where it states none.
fn name_of(session: &Session, capture: &ContentHash, serial: &str) -> String {
    if !serial.is_empty() {
        return serial.to_owned();
    }
    session.capture(capture).map_or_else(String::new, |record| record.file_name.clone())
}
