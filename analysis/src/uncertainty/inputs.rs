//! How well the inputs of the measurement equation are known, as the person states it.

use serde::{Deserialize, Serialize};

use crate::units::KelvinDifference;

/// The camera's calibration: the larger of a fixed kelvin and a fraction of the reading in °C, which is how
/// makers state it (common practice, no source). Standard uncertainties: a stated limit of ±2 K or ±2 %
/// that nothing lies beyond, all within being equally likely, is 2/√3 K or 2/√3 % (JCGM 100:2008, 4.3.7).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CalibrationUncertainty {
    /// The least, K.
    pub least: KelvinDifference,
    /// Of the reading above or below 0 °C.
    pub fraction: f64,
}

impl CalibrationUncertainty {
    /// Zero degrees Celsius, K: the zero that makers' percentages count from.
    const ZERO_CELSIUS: f64 = 273.15;

    /// Standard uncertainty of an apparent temperature, K.
    #[must_use]
    pub fn at(&self, apparent: f64) -> f64 {
        self.least.value().max(self.fraction * (apparent - Self::ZERO_CELSIUS).abs())
    }
}

/// Which inputs the captures of a difference have in common, so that their errors cancel as far as the
/// captures are alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SharedInputs {
    /// One camera, one calibration.
    pub calibration: bool,
    /// One surface: the boards are made alike.
    pub emissivity: bool,
    /// One place at the bench: reflected temperature and path.
    pub surroundings: bool,
}

/// Standard uncertainties (k = 1) of the inputs. An emissivity carries its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InputUncertainty {
    /// Of the reflected apparent temperature, K.
    pub reflected: KelvinDifference,
    /// Of the temperature of the path, K.
    pub path: KelvinDifference,
    /// Of the transmittance of the path.
    pub transmittance: f64,
    /// Of the camera's calibration.
    pub calibration: CalibrationUncertainty,
    /// Of the camera's offset from one capture to the next, K: drift, its own temperature.
    pub drift: KelvinDifference,
    /// Of the air temperature stated with a capture, K.
    pub ambient: KelvinDifference,
    /// Noise of one pixel, K, of captures that state none.
    pub netd: KelvinDifference,
    /// What the captures of a difference share.
    pub shared: SharedInputs,
    /// A temperature or difference whose expanded uncertainty exceeds this is not measurable there, K.
    pub measurable_within: KelvinDifference,
}

impl Default for InputUncertainty {
    /// A usual bench camera in a quiet room (common practice, no source): ±2 K or ±2 % as limits, 50 mK.
    fn default() -> Self {
        let kelvin = KelvinDifference::known;
        Self {
            reflected: kelvin(1.0),
            path: kelvin(1.0),
            transmittance: 0.0,
            calibration: CalibrationUncertainty { least: kelvin(1.15), fraction: 0.0115 },
            drift: kelvin(0.1),
            ambient: kelvin(0.1),
            netd: kelvin(0.05),
            shared: SharedInputs { calibration: true, emissivity: true, surroundings: true },
            measurable_within: kelvin(10.0),
        }
    }
}
