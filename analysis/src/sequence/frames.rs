//! Frames of a sequence, any of them at any time, and what may be wrong with one of them.
//!
//! [`FrameFile`](super::FrameFile) is a file of many frames, [`FrameSeries`](super::FrameSeries) are numbered
//! files of one frame each. A frame that cannot be read is a [`FrameProblem`], and the next one can be read
//! all the same.

use crate::capture::ReadError;
use crate::capture::pages::SampleKind;
use crate::capture::read_limits::ReadLimits;
use crate::frame::{Frame, RawNumber};

/// More frames than this are refused: an hour at 60 frames a second is fewer.
const MOST_FRAMES: usize = 1 << 18;

pub(super) const EXPORT_AGAIN: &str = "Copy or export the file again";
const SPLIT: &str = "Split the recording into several files";

/// One frame that a sequence lacks, and why. Frames are counted from 0 in code and from 1 in texts.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FrameProblem {
    /// The frame is there but cannot be read.
    #[error("frame {}: {cause}", frame + 1)]
    Unreadable {
        /// Which, from 0.
        frame: usize,
        /// Why.
        cause: ReadError,
    },
    /// The frame has another size than the sequence.
    #[error("frame {} has {} × {} pixels, the sequence {} × {}", frame + 1, found.1, found.0, expected.1, expected.0)]
    OtherSize {
        /// Which, from 0.
        frame: usize,
        /// The sequence's rows and columns.
        expected: (usize, usize),
        /// This frame's rows and columns.
        found: (usize, usize),
    },
    /// The numbering of the files leaves it out.
    #[error("frame {} is missing: no file has number {number}", frame + 1)]
    Dropped {
        /// Which, from 0.
        frame: usize,
        /// The number that no file has.
        number: u64,
    },
    /// Nobody said when it was taken.
    #[error("frame {} has no time: fewer times are stated than there are frames", frame + 1)]
    Untimed {
        /// Which, from 0.
        frame: usize,
    },
    /// The sequence ends before it.
    #[error("there is no frame {}: the sequence has {frames}", frame + 1)]
    BeyondTheEnd {
        /// Which, from 0.
        frame: usize,
        /// How many there are.
        frames: usize,
    },
    /// The file says that more frames follow, but not where they are.
    #[error("only the first {frame} frames can be found: {cause}")]
    Lost {
        /// The first that is lost, from 0.
        frame: usize,
        /// Why.
        cause: ReadError,
    },
}

/// Frames by index. Every frame that is read has the same shape.
pub trait FrameSource {
    /// How many frames there are, unreadable and dropped ones included.
    fn count(&self) -> usize;

    /// The frame with this index, from 0.
    ///
    /// # Errors
    /// [`FrameProblem`], after which other frames can be read all the same.
    fn read(&mut self, frame: usize) -> Result<Frame<RawNumber>, FrameProblem>;

    /// How the file writes its numbers; `None` until a frame has been read.
    fn samples(&self) -> Option<SampleKind>;

    /// Frames known to be lost for good, of which [`count`](Self::count) knows nothing.
    fn lost(&self) -> Option<&FrameProblem> {
        None
    }
}

/// The frame, if it has the size of those before it.
pub(super) fn of_one_size(
    shape: &mut Option<(usize, usize)>,
    frame: usize,
    pixels: Frame<RawNumber>,
) -> Result<Frame<RawNumber>, FrameProblem> {
    let (expected, found) = (*shape.get_or_insert(pixels.shape()), pixels.shape());
    if expected == found { Ok(pixels) } else { Err(FrameProblem::OtherSize { frame, expected, found }) }
}

/// Checks a frame's size before anybody sets memory aside for it.
pub(super) fn admit(file_name: &str, rows: u64, columns: u64) -> Result<(usize, usize), ReadError> {
    let (pixels, allowed) = (rows.saturating_mul(columns), ReadLimits::default().pixels);
    if pixels == 0 || pixels > allowed {
        let what = format!("a frame claims {columns} × {rows} pixels; from 1 to {allowed} are allowed");
        return Err(ReadError::limit_exceeded(file_name, what, "Crop the recording, or export it again"));
    }
    // Within the limit both fit.
    Ok((rows as usize, columns as usize))
}

/// Refuses one more frame beyond the most allowed.
pub(super) fn admit_count(file_name: &str, before: usize) -> Result<(), ReadError> {
    if before < MOST_FRAMES {
        return Ok(());
    }
    let what = format!("the sequence has more than the {MOST_FRAMES} frames allowed");
    Err(ReadError::limit_exceeded(file_name, what, SPLIT))
}
