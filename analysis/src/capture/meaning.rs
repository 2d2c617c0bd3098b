//! Whether enough was said of a capture's numbers, and what to ask if not. Nothing is guessed.

use super::metadata::{CaptureMetadata, Quantity, QuantityName, StatedQuantity};
use super::pages::SampleKind;

/// What must still be asked before a capture's numbers mean anything.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Question {
    /// Whether the numbers are temperatures, radiance or counts.
    #[error("What do the numbers stand for: a temperature, radiance or counts?")]
    Quantity,
    /// In which unit the temperatures are.
    #[error("In which unit are the temperatures: degC, degF or K?")]
    Unit,
    /// How many units one step of the numbers is.
    #[error("What is the scale: how many units is one step of the numbers? (1 if they are the value itself)")]
    Scale,
    /// How counts become temperature or radiance.
    #[error("Which calibration turns the counts into temperature or radiance?")]
    Calibration,
}

/// The first thing to ask of this capture, `None` when its numbers have a meaning.
#[must_use]
pub fn missing_meaning(metadata: &CaptureMetadata) -> Option<Question> {
    if metadata.quantity.is_some() {
        return None;
    }
    metadata.stated.as_ref().map_or(Some(Question::Quantity), |stated| decide(stated).err())
}

/// Completes the meaning once the file was read: numbers with fractions that were said to be
/// temperatures in a unit, or radiance, are the value itself (scale 1, offset 0) unless a scale is
/// stated. Whole numbers stay without a meaning until somebody states theirs.
pub fn complete_meaning(metadata: &mut CaptureMetadata, samples: SampleKind) {
    if metadata.quantity.is_some() {
        return;
    }
    let Some(mut stated) = metadata.stated.clone() else { return };
    if samples == SampleKind::Real {
        stated.scale.get_or_insert(1.0);
    }
    if let Ok(quantity) = decide(&stated) {
        metadata.quantity = Some(quantity);
        metadata.stated = None;
    }
}

/// The quantity that was stated.
///
/// # Errors
/// The first [`Question`] that the statement leaves open.
pub(super) fn decide(stated: &StatedQuantity) -> Result<Quantity, Question> {
    let scale = stated.scale.ok_or(Question::Scale);
    let offset = stated.offset.unwrap_or(0.0);
    match stated.quantity.ok_or(Question::Quantity)? {
        QuantityName::Temperature => Ok(Quantity::Temperature {
            unit: stated.unit.ok_or(Question::Unit)?,
            scale: scale?,
            offset,
            camera_correction: stated.camera_correction,
        }),
        QuantityName::Radiance => Ok(Quantity::Radiance { scale: scale?, offset }),
        QuantityName::Counts => {
            Ok(Quantity::Counts { calibration: stated.calibration.clone().ok_or(Question::Calibration)? })
        }
    }
}
