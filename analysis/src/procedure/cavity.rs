//! A hole instead of a coating: the effective emissivity of a cylindrical cavity by its shape.

use serde::{Deserialize, Serialize};

use super::outcome::{Contribution, ProcedureError, Source, Warning, combined, plain_uncertainty_of};
use crate::surface::region::Finish;
use crate::units::{Emissivity, Millimeters};

/// Shallower than this, depth over diameter, is warned of (our own rule: the hole then gains less than half of
/// what its walls lack).
const DEPTH_ADVISED: f64 = 1.0;
/// Walls below this are warned of: the formula was checked down to it.
const WALL_ADVISED: f64 = 0.5;
/// Fewer pixels than this across the hole mix it with its surroundings (common practice, no source).
const PIXELS_NEEDED: f64 = 3.0;

/// A cylindrical hole with a flat bottom, as entered: drilled, or a via, socket or screw head of that shape.
///
/// The hole must be at one temperature all through, and no wider than the pixels allow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CavityMethod {
    /// Diameter of the hole.
    pub diameter: Millimeters,
    /// Standard uncertainty of that, mm.
    pub diameter_uncertainty: f64,
    /// Its depth.
    pub depth: Millimeters,
    /// Standard uncertainty of that, mm.
    pub depth_uncertainty: f64,
    /// Emissivity of its walls and bottom.
    pub wall: Emissivity,
    /// Standard uncertainty of that.
    pub wall_uncertainty: f64,
    /// Angle between the camera's view and the hole's axis, degrees.
    pub view_angle: f64,
    /// Pixels across the hole.
    pub pixels_across: f64,
}

/// What the hole emits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CavityOutcome {
    /// Effective emissivity of the aperture.
    pub emissivity: Emissivity,
    /// Its standard uncertainty, k = 1.
    pub uncertainty: f64,
    /// What the uncertainty is made of.
    pub contributions: Vec<Contribution>,
    /// What to mind.
    pub warnings: Vec<Warning>,
}

impl CavityOutcome {
    /// The finish to give to the hole.
    #[must_use]
    pub fn finish(&self) -> Finish {
        Finish::stated(self.emissivity, self.uncertainty)
    }
}

/// The effective emissivity of an isothermal, diffuse cylindrical hole whose depth is `ratio` times its diameter.
///
/// ε (1 + (1 − ε)(s − s₀)) / (ε (1 − s) + s), s = 1/(2 (1 + L/r)) the aperture's share of the hole's whole surface,
/// s₀ = 1/(1 + (L/r)²) that of a sphere as deep as the hole with the same aperture, where the formula is exact.
///
/// # Accuracy
/// Against rays traced along the axis, as a camera sees the bottom of the hole, 0.01 to 0.04 low at half a diameter
/// of depth and never high, for wall emissivities from 0.5 to 0.95 and depths from 0.5 to 8 diameters. Seen far off
/// the axis a deep hole emits less than this: the formula knows no angle.
///
/// # Source
/// A. Gouffé, Revue d'Optique 24 (1945), from memory; s₀ derived anew for the spherical case.
#[must_use]
pub fn cylinder_emissivity(wall: f64, ratio: f64) -> f64 {
    let depth = 2.0 * ratio;
    let (whole, sphere) = (1.0 / (2.0 * (1.0 + depth)), 1.0 / (1.0 + depth * depth));
    wall * (1.0 + (1.0 - wall) * (whole - sphere)) / (wall * (1.0 - whole) + whole)
}

impl CavityMethod {
    /// What it finds, and how.
    pub const NAME: &str = "Emissivity of a hole, from its shape";

    /// The effective emissivity of the hole by [`cylinder_emissivity`].
    ///
    /// The formula itself counts as unsure by what is left to 1, a rectangular half-width: rays traced along the
    /// axis lie between its value and 1.
    ///
    /// # Errors
    /// [`ProcedureError`], which says what to enter instead.
    pub fn outcome(&self) -> Result<CavityOutcome, ProcedureError> {
        let (depth, diameter) = (self.depth.value(), self.diameter.value());
        if !(depth > 0.0 && diameter > 0.0) {
            return Err(ProcedureError::NoCavity { depth, diameter });
        }
        let by_depth = plain_uncertainty_of("the depth", self.depth_uncertainty)? / depth;
        let by_diameter = plain_uncertainty_of("the diameter", self.diameter_uncertainty)? / diameter;
        let by_wall = plain_uncertainty_of("the walls' emissivity", self.wall_uncertainty)?;
        let (wall, ratio) = (self.wall.value(), depth / diameter);
        let value = cylinder_emissivity(wall, ratio).min(1.0);
        let steps = |function: &dyn Fn(f64) -> f64, at: f64| {
            const STEP: f64 = 1e-5;
            (function(at * (1.0 + STEP)) - function(at * (1.0 - STEP))) / (2.0 * STEP * at)
        };
        let of_wall = steps(&|wall| cylinder_emissivity(wall, ratio), wall);
        let of_ratio = steps(&|ratio| cylinder_emissivity(wall, ratio), ratio);
        let contributions: Vec<Contribution> = [
            (Source::ReferenceEmissivity, of_wall.abs() * by_wall),
            (Source::Geometry, (of_ratio * ratio).abs() * by_depth.hypot(by_diameter)),
            (Source::Formula, (1.0 - value) / 3.0_f64.sqrt()),
        ]
        .map(|(source, uncertainty)| Contribution { source, uncertainty })
        .to_vec();
        Ok(CavityOutcome {
            emissivity: Emissivity::new(value).map_err(|_| ProcedureError::NoCavity { depth, diameter })?,
            uncertainty: combined(&contributions),
            contributions,
            warnings: self.warnings(wall, ratio),
        })
    }

    fn warnings(&self, wall: f64, ratio: f64) -> Vec<Warning> {
        let mut warnings = Vec::new();
        if ratio < DEPTH_ADVISED {
            warnings.push(Warning::ShallowCavity { ratio, advised: DEPTH_ADVISED });
        }
        if wall < WALL_ADVISED {
            warnings.push(Warning::MostlyReflecting { emissivity: wall, advised: WALL_ADVISED });
        }
        // Farther off, the wall hides the middle of the bottom.
        let allowed = (0.5 / ratio).atan().to_degrees();
        if self.view_angle.abs() > allowed {
            warnings.push(Warning::CavityFromAside { angle: self.view_angle, allowed });
        }
        if self.pixels_across < PIXELS_NEEDED {
            warnings.push(Warning::SmallInPicture { pixels: self.pixels_across, needed: PIXELS_NEEDED });
        }
        warnings
    }
}
