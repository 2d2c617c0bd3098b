//! What differs, by how much, where, and what to measure next.
//!
//! Works on corrected, aligned pictures; knows nothing of files, sessions or screens.

pub mod contact_value;
pub mod contacts;
pub mod criteria;
pub mod derating;
pub mod difference;
pub mod explanation;
pub mod findings;
mod neighborhood;
mod part_kind;
pub mod parts;
pub mod place_reading;
pub mod probes;
mod spots;
pub mod tolerance;

pub use contact_value::{
    ContactValue, Deviation, contact_noun, contact_unit, deviation, nominal_resistance, read_contact,
    read_electrical, with_own_unit, write_contact, write_with_tolerance,
};
pub use contacts::{Contact, Nets, Touch, contact_words};
pub use criteria::{Basis, Criteria, Rule, TwinCriteria};
pub use derating::{WorstCase, worst_case};
pub use difference::{DifferenceError, DifferenceMap, Exposure, difference};
pub use explanation::{Explanation, explain};
pub use findings::{CalledPlace, Chance, Finding, Sign, describe, find};
pub use parts::{Datasheet, LimitedAt, PartPictures, PartReading, hard_to_judge, read_parts};
pub use probes::{
    OutOfLine, Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeReason, ProbeVerdict, suggest_probes,
    suggest_twin_probes,
};
pub use tolerance::tolerance;
