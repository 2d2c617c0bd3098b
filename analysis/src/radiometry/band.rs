//! The camera's spectral band, and the tables between temperature and in-band radiance.

use serde::{Deserialize, Serialize};

use crate::units::{Micrometers, OutOfRange};

/// A spectral band with a flat response, in micrometres. Written to JSON as `[lower, upper]`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "[f64; 2]", into = "[f64; 2]")]
pub struct Band {
    lower: Micrometers,
    upper: Micrometers,
}

impl Band {
    /// A band from `lower` to `upper` micrometres.
    ///
    /// # Errors
    /// [`OutOfRange`] when a limit is no wavelength or the band is narrower than 0.01 µm.
    pub fn new(lower: f64, upper: f64) -> Result<Self, OutOfRange> {
        let (lower, upper) = (Micrometers::new(lower)?, Micrometers::new(upper)?);
        if upper.value() - lower.value() < 0.01 {
            return Err(OutOfRange {
                quantity: "an upper band limit",
                value: upper.value(),
                allowed: "at least 0.01 µm above the lower limit",
            });
        }
        Ok(Self { lower, upper })
    }

    /// The lower limit.
    #[must_use]
    pub const fn lower(self) -> Micrometers {
        self.lower
    }

    /// The upper limit.
    #[must_use]
    pub const fn upper(self) -> Micrometers {
        self.upper
    }
}

impl Default for Band {
    /// 7.5 to 14 µm, the usual band of uncooled cameras (common practice, no source).
    fn default() -> Self {
        Self { lower: Micrometers::known(7.5), upper: Micrometers::known(14.0) }
    }
}

impl TryFrom<[f64; 2]> for Band {
    type Error = OutOfRange;
    fn try_from([lower, upper]: [f64; 2]) -> Result<Self, OutOfRange> {
        Self::new(lower, upper)
    }
}

impl From<Band> for [f64; 2] {
    fn from(band: Band) -> Self {
        [band.lower.value(), band.upper.value()]
    }
}
