//! What differs, by how much, where, and what to measure next.
//!
//! Works on corrected, aligned pictures; knows nothing of files, sessions or screens.

pub mod criteria;
pub mod findings;
pub mod parts;
pub mod probes;

pub use criteria::{Basis, Criteria};
pub use findings::{Finding, Sign};
pub use parts::PartReading;
pub use probes::{Probe, ProbeKey, ProbeQuantity, ProbeReading, ProbeVerdict};
