//! Bringing the unit under test onto the baseline's pixels.
//!
//! Coarse by phase correlation, fine by a robust photometric fit, both on apparent temperature.
//! An alignment that cannot be trusted is refused with its reason, never returned.

mod warp;

pub use warp::warp;

use serde::{Deserialize, Serialize};

use crate::geometry::{BaselinePixels, Homography, Point, UnitPixels};

/// One place seen in both pictures, marked by a person.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LandmarkPair {
    /// In the unit's capture.
    pub unit: Point<UnitPixels>,
    /// In the baseline.
    pub baseline: Point<BaselinePixels>,
}

/// How the landmarks are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LandmarkUse {
    /// As the starting point of the automatic fit.
    #[default]
    Start,
    /// Instead of it: the map goes by the landmarks alone.
    Override,
}

/// A found alignment and how far to trust it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Unit pixels to baseline pixels.
    pub homography: Homography<UnitPixels, BaselinePixels>,
    /// Estimated root-mean-square error of the alignment over the overlap, pixels.
    pub residual_px: f64,
    /// Fraction of the baseline's pixels that the unit covers, 0 to 1.
    pub overlap: f64,
    /// Correlation of the two aligned pictures' detail, 0 to 1, gain and offset removed.
    pub confidence: f64,
}
