//! What counts as different.

use serde::{Deserialize, Serialize};

use crate::units::KelvinDifference;

/// What is subtracted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// Surface temperatures as they are.
    Absolute,
    /// Rises above each capture's own ambient.
    #[default]
    RiseAboveAmbient,
    /// Rises above ambient, the unit's scaled to the baseline's electrical power.
    RiseAtEqualPower,
}

/// The person's settings for the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Criteria {
    /// What is subtracted.
    pub basis: Basis,
    /// A difference smaller than this is never a finding, K.
    pub limit: KelvinDifference,
    /// A difference smaller than this many times the standard deviation that chance and unit-to-unit spread make
    /// of equal boards is never a finding.
    pub noise_multiple: f64,
    /// A finding has at least this many pixels.
    pub least_area_px: u32,
}

impl Default for Criteria {
    fn default() -> Self {
        Self {
            basis: Basis::default(),
            limit: KelvinDifference::known(2.0),
            noise_multiple: 4.0,
            least_area_px: 9,
        }
    }
}
