//! The emissivity a person states: one value for the whole picture, and regions laid over it in order.

use serde::{Deserialize, Serialize};

use crate::content_hash::ContentHash;
use crate::geometry::{BaselinePixels, BoardMillimeters};
use crate::surface::material::SOLDER_MASK;
use crate::surface::outline::Outline;
use crate::units::Emissivity;

/// An emissivity with its uncertainty and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finish {
    /// Emissivity in the camera's band.
    pub emissivity: Emissivity,
    /// Standard uncertainty of the emissivity (k = 1).
    pub uncertainty: f64,
    /// The key of a row of the material table, where the value was taken from one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
}

/// An outline in the plane that it was drawn in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "plane", rename_all = "kebab-case")]
pub enum PlacedOutline {
    /// In pixels of the baseline.
    Pixels(Outline<BaselinePixels>),
    /// In millimetres on the board: follows the board wherever it lies in the picture.
    Board(Outline<BoardMillimeters>),
}

/// A part of the surface with a finish of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// What the person calls it.
    pub name: String,
    /// Where it is.
    pub outline: PlacedOutline,
    /// What it is made of.
    pub finish: Finish,
}

/// The whole statement about the surface. Later regions lie on top of earlier ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Surface {
    /// Where no region lies.
    pub whole: Finish,
    /// An emissivity picture that replaces `whole` where it is valid: the hash of its file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub map: Option<ContentHash>,
    /// The standard uncertainty of `map`, where there is one: the hash of its file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub map_uncertainty: Option<ContentHash>,
    /// Regions, bottom first.
    #[serde(default)]
    pub regions: Vec<Region>,
}

impl Default for Surface {
    /// Solder mask all over: most of most boards.
    fn default() -> Self {
        Self { whole: SOLDER_MASK.finish(), map: None, map_uncertainty: None, regions: Vec::new() }
    }
}
