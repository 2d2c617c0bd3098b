//! A picture out of a recording on its way to the stage.

use super::protocol::PictureKind;
use crate::compute::protocol::{BadParcel, Buffer, picture};
use crate::stage::recorded::RecordedPicture;

/// The picture that travelled as array `index`.
///
/// # Errors
/// [`BadParcel`] when there is none of that size.
pub fn arrived(
    kind: PictureKind,
    buffers: &mut [Buffer],
    index: usize,
    (rows, columns): (usize, usize),
) -> Result<RecordedPicture, BadParcel> {
    Ok(match kind {
        PictureKind::Frame
        | PictureKind::Mean
        | PictureKind::Least
        | PictureKind::Greatest
        | PictureKind::Steady => RecordedPicture::Temperature(picture(buffers, index, rows, columns)?),
        PictureKind::Difference | PictureKind::Sudden => {
            RecordedPicture::Change(picture(buffers, index, rows, columns)?)
        }
        PictureKind::SteadyUncertainty | PictureKind::Amplitude => {
            RecordedPicture::Swing(picture(buffers, index, rows, columns)?)
        }
        PictureKind::Lag => RecordedPicture::Lag(picture(buffers, index, rows, columns)?),
        PictureKind::TimeConstant => RecordedPicture::Seconds(picture(buffers, index, rows, columns)?),
    })
}

/// What a person reads.
#[must_use]
pub const fn name_of(kind: PictureKind) -> &'static str {
    match kind {
        PictureKind::Frame => "Frame",
        PictureKind::Difference => "Change",
        PictureKind::Sudden => "Sudden change",
        PictureKind::Mean => "Mean",
        PictureKind::Least => "Lowest",
        PictureKind::Greatest => "Highest",
        PictureKind::Steady => "Steady state",
        PictureKind::SteadyUncertainty => "Its uncertainty",
        PictureKind::TimeConstant => "Time constant",
        PictureKind::Amplitude => "Amplitude",
        PictureKind::Lag => "Phase",
    }
}
