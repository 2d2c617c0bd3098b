//! What a contact reading should be, where the board file or other units' records tell.

use crate::content_hash::ContentHash;
use crate::inspection::{
    ContactValue, ProbeKey, ProbeQuantity, ProbeVerdict, nominal_resistance, read_contact, write_contact,
    write_with_tolerance,
};
use crate::population::PredictionInterval;
use crate::session::{Outcome, Session, UnitNotes};
use crate::units::TemperatureUnit;

/// Something that tells what a reading should be.
#[derive(Debug, Clone, PartialEq)]
pub struct ExpectedReading {
    /// To be entered as it stands: `3.310 V ± 0.040 V`.
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
///
/// A contact temperature is not carried over: other units were measured in other air.
#[must_use]
pub fn expected_readings(session: &Session, key: &ProbeKey) -> Vec<ExpectedReading> {
    let unit = session.temperature_unit;
    let of_others = || {
        let (names, reads): (Vec<_>, Vec<_>) = read_on_healthy_units(session, key).into_iter().unzip();
        let text = text_of_others(key.quantity, &reads)?;
        Some(ExpectedReading { text, origin: format!("read on units that passed: {}", names.join(", ")) })
    };
    let is_carried_over = key.quantity != ProbeQuantity::ContactTemperature;
    let of_others = is_carried_over.then(of_others).flatten();
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

/// The mean of what was read, with the interval that the next healthy unit keeps to where enough was read.
///
/// Readings are known to their last digit only, so that they waver by no less than its q / √12, and a single step of it
/// says nothing (JCGM 100:2008, F.2.2.1).
fn text_of_others(quantity: ProbeQuantity, reads: &[ContactValue]) -> Option<String> {
    let count = reads.len();
    let mean = reads.iter().map(|read| read.value).sum::<f64>() / count as f64;
    if count < LEAST_READINGS {
        return (count > 0).then(|| write_contact(quantity, mean, TemperatureUnit::Kelvin));
    }
    let squares = reads.iter().map(|read| (read.value - mean).powi(2)).sum::<f64>();
    let freedom = count as f64 - 1.0;
    let interval = PredictionInterval { count, freedom, coverage: COVERAGE };
    let step = reads.iter().map(|read| read.resolution).fold(0.0, f64::max);
    let deviation = (squares / freedom).sqrt().max(step / 12_f64.sqrt());
    Some(write_with_tolerance(quantity, mean, interval.half_width(deviation).max(step)))
}

/// The same measurement on units that are not on the bench, with their names: as the reading or else the unit was judged
/// to pass, and a number was read. The last one of each serial number, as one unit read twice is not two.
fn read_on_healthy_units(session: &Session, key: &ProbeKey) -> Vec<(String, ContactValue)> {
    let passed = |notes: &UnitNotes| notes.verdict.as_ref().is_some_and(|v| v.outcome == Outcome::Pass);
    let read = |notes: &UnitNotes| {
        let (_, reading) = notes.readings.iter().find(|(known, _)| known == key)?;
        let healthy = match reading.verdict {
            Some(verdict) => verdict == ProbeVerdict::Pass,
            None => passed(notes),
        };
        let value = read_contact(key.quantity, &reading.read, session.temperature_unit)?;
        (healthy && value.value.is_finite()).then_some(value)
    };
    let mut reads: Vec<(&UnitNotes, ContactValue)> = Vec::new();
    for notes in &session.other_units {
        let Some(value) = read(notes) else { continue };
        let serial = notes.board.serial.trim();
        reads.retain(|(earlier, _)| serial.is_empty() || earlier.board.serial.trim() != serial);
        reads.push((notes, value));
    }
    let named =
        |(notes, value): (&UnitNotes, _)| (name_of(session, &notes.capture, &notes.board.serial), value);
    reads.into_iter().map(named).collect()
}

/// A unit's serial number, or its file's name where it states none.
fn name_of(session: &Session, capture: &ContentHash, serial: &str) -> String {
    if !serial.is_empty() {
        return serial.to_owned();
    }
    session.capture(capture).map_or_else(String::new, |record| record.file_name.clone())
}
