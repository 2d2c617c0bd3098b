//! The measurement equation: what the camera sees of a surface, and the surface's temperature from it.

use serde::{Deserialize, Serialize};

use crate::units::{Emissivity, Kelvin, Transmittance};

/// What surrounds the board and lies between it and the camera.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Surroundings {
    /// Reflected apparent temperature, K.
    pub reflected: Kelvin,
    /// Transmittance of the path.
    pub transmittance: Transmittance,
    /// Temperature of the path (air, window), K.
    pub path: Kelvin,
}

impl Default for Surroundings {
    fn default() -> Self {
        Self { reflected: Kelvin::ROOM, transmittance: Transmittance::CLEAR, path: Kelvin::ROOM }
    }
}

/// The settings with which radiance is turned into the temperature of one surface.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// The surface's emissivity in the band.
    pub emissivity: Emissivity,
    /// What surrounds it.
    pub surroundings: Surroundings,
}
