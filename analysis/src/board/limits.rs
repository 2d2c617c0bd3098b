//! What each part may reach, from its datasheet, and the junction estimate.

use serde::{Deserialize, Serialize};

use crate::units::{Kelvin, Watts};

/// The published figure that leads from case to junction, in K/W.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "figure", rename_all = "kebab-case")]
pub enum ThermalPath {
    /// psi-JT, junction to top centre, for the part's whole power (JESD51-2A).
    PsiJunctionTop {
        /// K/W.
        kelvin_per_watt: f64,
    },
    /// theta-JC, junction to case, where all heat leaves by that face: an upper bound otherwise.
    ThetaJunctionCase {
        /// K/W.
        kelvin_per_watt: f64,
    },
}

/// The limits of one part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartLimit {
    /// Reference designator.
    pub designator: String,
    /// Highest case temperature allowed.
    pub max_case: Option<Kelvin>,
    /// Highest junction temperature allowed.
    pub max_junction: Option<Kelvin>,
    /// Dissipated power in the test.
    pub power: Option<Watts>,
    /// From case to junction.
    pub path: Option<ThermalPath>,
}
