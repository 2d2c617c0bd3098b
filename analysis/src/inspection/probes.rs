//! The probe list: contact measurements that would confirm or refute each finding.

use serde::{Deserialize, Serialize};

/// What is measured by contact.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProbeQuantity {
    /// Voltage, V.
    Voltage,
    /// Current, A.
    Current,
    /// Frequency, Hz.
    Frequency,
    /// Resistance, Ω, with the board unpowered and discharged.
    ResistanceUnpowered,
    /// Contact temperature, °C.
    ContactTemperature,
}

/// Which measurement: one per place and quantity.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ProbeKey {
    /// The part or net to put the probe on.
    pub target: String,
    /// What to measure there.
    pub quantity: ProbeQuantity,
}

/// What the reading says of the place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ProbeVerdict {
    /// As expected.
    Pass,
    /// Not as expected.
    Fail,
    /// Measure again.
    Recheck,
}

/// What a person entered for one measurement.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct ProbeReading {
    /// What it should be, in words or as a number with its unit.
    pub expected: String,
    /// What was read.
    pub read: String,
    /// Free text.
    pub note: String,
    /// The person's judgement.
    pub verdict: Option<ProbeVerdict>,
}

/// One line of the probe list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Probe {
    /// Which measurement.
    pub key: ProbeKey,
    /// Why it is asked for: the finding or limit behind it, and what the reading tells.
    pub reason: String,
    /// Whether the board must be unpowered and discharged first.
    pub unpowered: bool,
}
