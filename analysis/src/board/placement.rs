//! Where each part sits: the placement (pick-and-place) file.

use serde::{Deserialize, Serialize};

use crate::geometry::{BoardMillimeters, Point};

/// The side of the board a part sits on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// The component side.
    #[default]
    Top,
    /// The solder side.
    Bottom,
}

/// One part as placed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Placement {
    /// Reference designator.
    pub designator: String,
    /// Centre, millimetres.
    pub center: Point<BoardMillimeters>,
    /// Rotation, degrees counter-clockwise in the file's axes.
    pub rotation: f64,
    /// Side of the board.
    pub side: Side,
    /// Package name as the file gives it.
    pub package: String,
    /// Body length along x and y before rotation, millimetres.
    pub size: [f64; 2],
    /// Value or type as the file gives it.
    #[serde(default)]
    pub value: String,
}
