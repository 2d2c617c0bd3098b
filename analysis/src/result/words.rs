//! The words for kinds and judgements, the same in tables and on the sheet.

use crate::inspection::{Basis, Probe, ProbeQuantity, ProbeVerdict, Sign};
use crate::session::Outcome;

/// The sign of a finding.
pub(super) const fn sign_word(sign: Sign) -> &'static str {
    match sign {
        Sign::Hotter => "hotter",
        Sign::Colder => "colder",
    }
}

/// The kind of a measurement, with its unit.
pub(super) const fn quantity_word(quantity: ProbeQuantity) -> &'static str {
    match quantity {
        ProbeQuantity::Voltage => "voltage (V)",
        ProbeQuantity::Current => "current (A)",
        ProbeQuantity::Frequency => "frequency (Hz)",
        ProbeQuantity::ResistanceUnpowered => "resistance (ohm)",
        ProbeQuantity::ContactTemperature => "contact temperature (°C)",
    }
}

/// The judgement of a reading.
pub(super) const fn verdict_word(verdict: ProbeVerdict) -> &'static str {
    match verdict {
        ProbeVerdict::Pass => "pass",
        ProbeVerdict::Fail => "fail",
        ProbeVerdict::Recheck => "recheck",
    }
}

/// The judgement of the unit.
pub(super) const fn outcome_word(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "pass",
        Outcome::Fail => "fail",
        Outcome::Recheck => "recheck",
    }
}

/// Whether the board may be on for a measurement.
pub(super) const fn power_word(probe: &Probe) -> &'static str {
    if probe.unpowered { "off and discharged" } else { "powered" }
}

/// What is subtracted, as the end of a sentence that begins "The difference is that of".
pub(super) const fn basis_words(basis: Basis) -> &'static str {
    match basis {
        Basis::Absolute => "surface temperatures as they are",
        Basis::RiseAboveAmbient => "rises above each capture's own ambient temperature",
        Basis::RiseAtEqualPower => {
            "rises above ambient, the unit's scaled to the baseline's electrical power"
        }
    }
}
