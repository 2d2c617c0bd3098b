//! Parts of one kind on the unit held against each other: what can be said where no known-good board exists.

use serde::{Deserialize, Serialize};

use super::alignment::{Aligned, Shelf};
use super::conditions::{conditions, netd};
use super::judgement::{emissivity_of_baseline, surface_of};
use super::{CannotCompare, board_to_picture};
use crate::board::{Footprint, footprints};
use crate::content_hash::ContentHash;
use crate::frame::{EmissivityFraction, Frame, SurfaceKelvin};
use crate::population::{
    BLUR_REACH, FalseAlarms, OneBoard, TwinCheck, UsualSpread, compare_twins, without_metal,
};
use crate::radiometry::Rejected;
use crate::session::Session;

/// What parts of one kind on a unit show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TwinReport {
    /// The unit's capture.
    pub capture: ContentHash,
    /// How its parts stand among their like.
    pub check: TwinCheck,
}

/// What is missing or wrong before parts of one kind can be held against each other.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotCheckTwins {
    /// No table says which parts there are.
    #[error("a placement table with packages and values is needed: it says which parts are of one kind")]
    NoParts,
    /// The board does not lie on the picture.
    #[error("four places of the board are to be marked in the picture, so that the parts lie on it")]
    NotPlaced,
    /// The unit's picture cannot be had.
    #[error(transparent)]
    Unit(#[from] CannotCompare),
}

/// Whether the session says enough, before any picture is looked at.
///
/// # Errors
/// [`CannotCheckTwins`], but for what only the pictures can tell.
pub fn can_check_twins(session: &Session) -> Result<(), CannotCheckTwins> {
    if session.unit().is_none() {
        return Err(CannotCompare::NoUnit.into());
    }
    if session.layout.placements.is_empty() {
        return Err(CannotCheckTwins::NoParts);
    }
    match board_to_picture(&session.layout)? {
        Some(_) => Ok(()),
        None => Err(CannotCheckTwins::NotPlaced),
    }
}

/// Holds the parts of one kind on the unit against each other.
///
/// `unit` lies on the first known-good board's pixels, or is [unmoved](super::unit_alone) where there is none.
///
/// # Errors
/// Every [`CannotCheckTwins`].
pub fn check_twins(session: &Session, shelf: &Shelf, unit: &Aligned) -> Result<TwinReport, CannotCheckTwins> {
    Ok(LoneUnit::of(session, shelf, unit)?.twins)
}

/// What the unit shows by itself.
#[derive(Debug, Clone)]
pub struct LoneUnit {
    /// Its surface temperature, on the pixels that its capture lies on.
    pub surface: Frame<SurfaceKelvin>,
    /// The emissivity each pixel was corrected with.
    pub emissivity: Frame<EmissivityFraction>,
    /// Pixels that have no temperature, by reason.
    pub rejected: Rejected,
    /// How many isolated pixels of the capture were set aside.
    pub set_aside: usize,
    /// The visible parts' bodies on the picture.
    pub footprints: Vec<Footprint>,
    /// How the parts of one kind stand.
    pub twins: TwinReport,
}

impl LoneUnit {
    /// Corrects the unit and holds its parts of one kind against each other, as [`check_twins`] does.
    ///
    /// # Errors
    /// Every [`CannotCheckTwins`].
    pub fn of(session: &Session, shelf: &Shelf, unit: &Aligned) -> Result<Self, CannotCheckTwins> {
        can_check_twins(session)?;
        let map = board_to_picture(&session.layout)?.ok_or(CannotCheckTwins::NotPlaced)?;
        let emissivity = emissivity_of_baseline(session, shelf, unit.apparent.shape())?;
        let corrected = surface_of(session, unit, &emissivity)?;
        let trusted =
            without_metal(&corrected.temperature, &emissivity, BLUR_REACH).map_err(CannotCompare::from)?;
        let criteria = &session.criteria;
        let board = OneBoard {
            surface: &trusted,
            ambient: conditions(session, &unit.hash).0,
            noise: netd(session, &unit.hash),
            usual: UsualSpread { of_step: criteria.twins.usual_share, ..UsualSpread::default() },
            false_alarms: FalseAlarms {
                per_hundred_good_boards: criteria.false_alarms_per_hundred,
                least_difference: criteria.least_difference.value().abs(),
            },
        };
        let placements = &session.layout.placements;
        let footprints = footprints(placements, session.layout.side, &map);
        let check = compare_twins(&board, placements, &footprints);
        Ok(Self {
            surface: corrected.temperature,
            emissivity,
            rejected: corrected.rejected,
            set_aside: unit.set_aside,
            footprints,
            twins: TwinReport { capture: unit.hash.clone(), check },
        })
    }
}
