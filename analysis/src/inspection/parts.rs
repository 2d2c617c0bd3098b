//! What each placed part reads, against the baseline and against its datasheet.

use serde::{Deserialize, Serialize};

use crate::units::{Kelvin, KelvinDifference};

/// One part as measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartReading {
    /// Reference designator.
    pub designator: String,
    /// Hottest place of the body in the unit, averaged over 3 × 3 pixels.
    pub case: Option<Kelvin>,
    /// Mean difference over the body, K.
    pub difference: Option<KelvinDifference>,
    /// Junction estimate, where power and thermal path are known.
    pub junction: Option<Kelvin>,
    /// The smallest distance to a limit that is stated; negative when over it.
    pub margin: Option<KelvinDifference>,
}
