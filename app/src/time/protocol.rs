//! What travels between the page and the worker that reads a recording.
//!
//! As with the other worker: a header in JSON, arrays beside it. The files themselves go over as the
//! browser's handles, of which the worker reads the pieces it needs.

use std::ops::Range;

use analysis::capture::CaptureMetadata;
use analysis::content_hash::ContentHash;
use analysis::session::Session;
use serde::{Deserialize, Serialize};

use super::fit_parcel::{FitParcel, LockInAsk, SourceParcel};
use crate::compute::protocol::Sidecar;

/// Numbers one question from its asking to its answer.
pub type AskId = u32;

/// What the page sends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Request {
    /// Its number.
    pub id: AskId,
    /// What is asked.
    pub ask: Ask,
}

/// What the page asks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its question's sentence")]
pub enum Ask {
    /// Opens a recording: one file of many frames, or numbered files of one. Beside it: the files.
    Open { names: Vec<String>, sidecar: Option<Sidecar> },
    /// From now on frames are read and corrected so. Beside it: the emissivity picture's numbers, if one is used.
    Settle { metadata: Box<CaptureMetadata>, session: Box<Session> },
    /// A picture to show at once; `ahead` are the frames likely to be asked next.
    Show { wanted: Wanted, ahead: Vec<usize> },
    /// Mean, least and greatest of every pixel over a span.
    Summarize { span: Range<usize> },
    /// Every followed place in every frame of a span.
    Follow { span: Range<usize> },
    /// A frame, or the mean of a span, as a capture's file.
    Pull { span: Range<usize> },
    /// Warm-ups of places that were followed last, over frames of that span.
    FitWarmUps { series: Vec<(usize, Reading)>, span: Range<usize> },
    /// Steady state and time constant of every pixel, beginning from a typical place that was followed last.
    MapWarmUp { place: usize, reading: Reading, span: Range<usize> },
    /// A lock-in over a span.
    LockIn { span: Range<usize>, settings: LockInAsk },
    /// Finds how the board has moved in every frame since the one named, and looks through that from now on.
    HoldStill { reference: usize },
    /// Looks at frames as they are again.
    LetGo,
    /// Ends whatever runs over frames.
    Stop,
    /// Lets the recording go.
    Close,
}

/// Which of a place's values is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reading {
    /// The mean of its pixels.
    #[default]
    Mean,
    /// Its coldest pixel.
    Least,
    /// Its hottest pixel.
    Greatest,
}

/// A picture that needs no run over frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Wanted {
    /// One frame.
    Frame(usize),
    /// One frame less another.
    Difference {
        /// The frame.
        frame: usize,
        /// What is taken off.
        less: usize,
    },
    /// One frame less the mean of some before it.
    Sudden {
        /// The frame.
        frame: usize,
        /// Of how many.
        before: usize,
    },
}

/// What the worker sends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "told", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its message's sentence")]
pub enum Told {
    /// The worker listens.
    Ready,
    /// A run over frames goes on.
    Progress { id: AskId, done: usize, of: usize },
    /// More frames were found.
    Grown { frames: usize, complete: bool, warnings: Vec<String> },
    /// A question is answered.
    Done { id: AskId, outcome: Box<Outcome> },
    /// The worker met a fault of ours and must not be used again.
    Panicked { message: String },
}

/// How a question ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its outcome's sentence")]
pub enum Outcome {
    /// A recording is open.
    Opened {
        /// The name people know it by.
        name: String,
        /// What its first piece holds.
        head: Option<ContentHash>,
        /// So many were found; there are more unless it is `complete`.
        frames: usize,
        complete: bool,
        rows: usize,
        columns: usize,
        raw_range: Option<(f32, f32)>,
        metadata: Box<CaptureMetadata>,
        has_sidecar: bool,
        warnings: Vec<String>,
    },
    /// The way of reading is changed.
    Settled,
    /// Pictures. Beside it: their numbers.
    Pictures { rows: usize, columns: usize, pictures: Vec<PictureKind>, problems: Vec<String> },
    /// The followed places over time. Beside it: for each place mean, least and greatest, K, of the frames of the
    /// span; as many standard uncertainties of them; then column and row of the hottest pixel of the picture.
    Followed { span: Range<usize>, names: Vec<String>, parts: Vec<bool>, problems: Vec<String> },
    /// A capture. Beside it: the bytes of its file.
    Pulled { span: Range<usize>, file_name: String, metadata: Box<CaptureMetadata>, problems: Vec<String> },
    /// Warm-ups, in the order asked: the fit or why there is none.
    FittedWarmUps { fits: Vec<Result<FitParcel, String>> },
    /// A lock-in. Beside it: amplitude, and lag where the amplitude is detectable, of the fundamental.
    LockedIn {
        rows: usize,
        columns: usize,
        frames: usize,
        harmonics: usize,
        typical_noise: f64,
        noise_floor: f64,
        detectable: f64,
        source: Option<SourceParcel>,
        problems: Vec<String>,
    },
    /// The board is held still, or no longer.
    Held { held: Option<HeldParcel>, problems: Vec<String> },
    /// It was stopped, or another question took its place.
    Stopped,
    /// It could not be done: what happened, and what to do.
    Failed { what: String, hint: String },
}

/// How a board that is held still had moved.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeldParcel {
    /// The frame that the others are brought onto.
    pub reference: usize,
    /// The farthest that a corner of the picture moved in any frame, pixels.
    pub most_px: f64,
    /// In how many frames it was not found: these lie as the frame before them.
    pub unsure: usize,
}

/// What the numbers of a picture are.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum PictureKind {
    /// One frame.
    Frame,
    /// One frame less another.
    Difference,
    /// One frame less the mean of those just before it: what changes suddenly, without the drift.
    Sudden,
    /// The mean of a span.
    Mean,
    /// The least of each pixel in a span.
    Least,
    /// The greatest of each pixel in a span.
    Greatest,
    /// Where each pixel is heading.
    Steady,
    /// Standard uncertainty of that.
    SteadyUncertainty,
    /// How fast it gets there.
    TimeConstant,
    /// How much each pixel swings.
    Amplitude,
    /// How late it swings.
    Lag,
}

impl PictureKind {
    /// Whether it follows the frame looked at.
    #[must_use]
    pub const fn is_of_a_frame(self) -> bool {
        matches!(self, Self::Frame | Self::Difference | Self::Sudden)
    }
}
