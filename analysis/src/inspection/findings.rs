//! Connected places of the difference that exceed their tolerance, named and ranked.

use serde::{Deserialize, Serialize};

use crate::geometry::{BaselinePixels, Point};
use crate::units::KelvinDifference;

/// Warmer or colder than the baseline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sign {
    /// The unit is warmer.
    Hotter,
    /// The unit is colder.
    Colder,
}

/// One place where the unit differs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Warmer or colder.
    pub sign: Sign,
    /// The largest difference, with its sign, K.
    pub peak: KelvinDifference,
    /// Where the largest difference is.
    pub peak_at: Point<BaselinePixels>,
    /// Mean difference over the place, K.
    pub mean: KelvinDifference,
    /// Its centre, weighted by the difference.
    pub centroid: Point<BaselinePixels>,
    /// Pixels.
    pub area_px: u32,
    /// Square millimetres, when the scale of the picture is known.
    pub area_mm2: Option<f64>,
    /// Box around it: left, top, right, bottom pixel, inclusive.
    pub bounds: [u32; 4],
    /// The part under the peak, or the nearest one within reach.
    pub designator: Option<String>,
    /// Distance from the peak to that part's body, mm; 0 when the peak lies on it.
    pub designator_distance_mm: Option<f64>,
    /// Largest ratio of difference to tolerance.
    pub significance: f64,
}
