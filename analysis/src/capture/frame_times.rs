//! When the frames of a sequence were taken, and what happened on the bench meanwhile.

use serde::{Deserialize, Serialize};

/// When the frames of a file with several were taken, s from any one moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FrameTimes {
    /// The first at 0, each next one this much later.
    Interval(f64),
    /// One time for each frame, rising.
    Each(Vec<f64>),
}

/// Something done on the bench during a sequence.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct BenchEvent {
    /// When, s on the clock of the frames.
    pub at_s: f64,
    /// What: "power on", "load step".
    pub name: String,
    /// Supply voltage from then on, V.
    pub voltage: Option<f64>,
    /// Supply current from then on, A.
    pub current: Option<f64>,
    /// Operating or supply frequency from then on, Hz.
    pub frequency: Option<f64>,
}
