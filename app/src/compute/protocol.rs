//! What travels between the page and its worker: a header in JSON, and arrays beside it that are
//! handed over rather than written out.

use analysis::board::Footprint;
use analysis::capability::Repeatability;
use analysis::capture::CaptureMetadata;
use analysis::comparison::{Comparison, JudgedBy, LeftOut, SetAside, TwinReport, UnitSurvey};
use analysis::content_hash::ContentHash;
use analysis::frame::{Frame, FrameError};
use analysis::inspection::{Finding, PartReading, Probe};
use analysis::procedure::{SoakedMap, SoakedOutcome};
use analysis::radiometry::{Band, Rejected};
use analysis::registration::Alignment;
use analysis::session::Session;
use analysis::units::KelvinDifference;
use serde::{Deserialize, Serialize};

/// Numbers one job from its asking to its outcome.
pub type JobId = u32;

/// An array that travels beside a header.
#[derive(Debug, Clone, PartialEq)]
pub enum Buffer {
    /// A file's bytes.
    Bytes(Vec<u8>),
    /// A picture's numbers, row by row.
    Numbers(Vec<f32>),
}

/// Which document is to be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Document {
    /// Everything as one self-contained file.
    Result,
    /// The findings as a table.
    Findings,
    /// The parts of one kind against each other, as a table.
    Twins,
    /// The temperature and difference maps.
    Maps,
    /// The known-good boards as one file, for later.
    Baseline,
}

/// What the page asks.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "job", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its job's sentence")]
pub enum Job {
    /// Reads a capture and keeps it, as the sidecar says or as is known already. Beside it: the file's bytes.
    Decode { file_name: String, sidecar: Option<Sidecar>, metadata: Option<Box<CaptureMetadata>> },
    /// The apparent temperature of a capture whose pixels are kept, as `metadata` says.
    Apparent { hash: ContentHash, metadata: Box<CaptureMetadata>, band: Band },
    /// The picture that states emissivities, as its file holds them.
    EmissivityPicture { hash: ContentHash },
    /// Aligns where need be, corrects, subtracts and names.
    Compare { session: Box<Session> },
    /// What a unit that waits its turn shows.
    Survey { session: Box<Session>, capture: ContentHash },
    /// Parts of one kind on the unit held against each other.
    CheckTwins { session: Box<Session> },
    /// The emissivity of every pixel of the baseline, from captures of the soaked board.
    MapEmissivity { session: Box<Session>, entered: Box<SoakedMap> },
    /// What the bench can call, from repeat captures of one board.
    StudyRepeats { session: Box<Session>, captures: Vec<ContentHash>, confidence: f64 },
    /// Writes a document of the session's comparison.
    Write { document: Document, session: Box<Session>, written_at: String },
    /// Reads a result file. Beside it: its bytes.
    ReadResult { file_name: String },
}

/// The file beside a capture that says what its numbers mean.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sidecar {
    /// Its name.
    pub file_name: String,
    /// What it says.
    pub text: String,
}

/// What the page sends: a job by its number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Request {
    /// Its number.
    pub id: JobId,
    /// What is asked.
    pub job: Job,
}

/// What the worker sends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its answer's sentence")]
pub enum Answer {
    /// The worker listens. What was sent before is lost.
    Ready,
    /// A job goes on.
    Progress { id: JobId, stage: String, fraction: f64 },
    /// A job is over.
    Done { id: JobId, outcome: Box<Outcome> },
    /// The worker met a fault of ours and must not be used again.
    Panicked { message: String },
}

/// How a job ended.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "outcome", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "each field is the noun of its outcome's sentence")]
pub enum Outcome {
    /// A capture was read.
    Decoded {
        hash: ContentHash,
        file_name: String,
        metadata: Box<CaptureMetadata>,
        rows: usize,
        columns: usize,
        raw_range: Option<(f32, f32)>,
        warnings: Vec<String>,
    },
    /// A capture's apparent temperature. Beside it: the numbers.
    Apparent { hash: ContentHash, rows: usize, columns: usize },
    /// The picture that states emissivities. Beside it: the numbers, invalid where they are no emissivity.
    EmissivityPicture { hash: ContentHash, rows: usize, columns: usize },
    /// The comparison. Beside it: its pictures.
    Compared { summary: Box<ComparisonSummary> },
    /// A unit that waits was judged.
    Surveyed { unit: Box<UnitSurvey> },
    /// A unit that waits cannot be judged.
    CannotSurvey { capture: ContentHash, why: String },
    /// Parts of one kind were held against each other.
    TwinsChecked { report: Box<TwinReport> },
    /// Parts of one kind cannot be held against each other.
    CannotCheckTwins { why: String },
    /// Something is missing before there can be a comparison.
    CannotCompare { why: String },
    /// Emissivities were mapped. Beside it: the bytes of the picture and of its uncertainty, as files.
    EmissivityMapped { entered: Box<SoakedMap>, map: Box<SoakedOutcome> },
    /// Repeat captures were studied.
    Studied { study: Box<Repeatability> },
    /// A document was written. Beside it: one array of bytes for each file.
    Written { files: Vec<WrittenFile> },
    /// A result file was read. Beside it: the bytes of its captures, in the order of `captures`.
    Restored { file_name: String, session: Box<Session>, captures: Vec<ContentHash> },
    /// The job could not be done: what happened, and what to do.
    Failed { what: String, hint: String },
}

/// One file to download.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WrittenFile {
    /// Its name.
    pub file_name: String,
    /// Its media type.
    pub media_type: String,
}

/// A [`Comparison`] without its pictures' numbers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ComparisonSummary {
    unit_capture: ContentHash,
    rows: usize,
    columns: usize,
    has_spread: bool,
    alignment: Alignment,
    noise: KelvinDifference,
    netd: [KelvinDifference; 2],
    unit_gain: f64,
    judged_by: JudgedBy,
    baseline_count: usize,
    left_out: Vec<LeftOut>,
    rejected: Rejected,
    set_aside: SetAside,
    footprints: Vec<Footprint>,
    findings: Vec<Finding>,
    parts: Vec<PartReading>,
    probes: Vec<Probe>,
}

/// What arrived is not what was announced.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadParcel {
    /// A picture's numbers do not fill it.
    #[error(transparent)]
    Picture(#[from] FrameError),
    /// An array is missing or of the wrong kind.
    #[error("array {index} of the message is missing or of the wrong kind")]
    MissingArray {
        /// Its place, from 0.
        index: usize,
    },
}

/// Takes a comparison apart for travelling.
#[must_use]
pub fn pack_comparison(comparison: Comparison) -> (ComparisonSummary, Vec<Buffer>) {
    let (rows, columns) = comparison.difference.shape();
    let has_spread = comparison.spread.is_some();
    let buffers = [
        numbers(comparison.emissivity),
        numbers(comparison.baseline),
        numbers(comparison.unit),
        numbers(comparison.difference),
        numbers(comparison.tolerance),
        numbers(comparison.emissivity_uncertainty),
        numbers(comparison.unit_uncertainty),
        numbers(comparison.difference_uncertainty),
    ];
    let buffers = buffers.into_iter().chain(comparison.spread.map(numbers)).collect();
    let summary = ComparisonSummary {
        unit_capture: comparison.unit_capture,
        rows,
        columns,
        has_spread,
        alignment: comparison.alignment,
        noise: comparison.noise,
        netd: comparison.netd,
        unit_gain: comparison.unit_gain,
        judged_by: comparison.judged_by,
        baseline_count: comparison.baseline_count,
        left_out: comparison.left_out,
        rejected: comparison.rejected,
        set_aside: comparison.set_aside,
        footprints: comparison.footprints,
        findings: comparison.findings,
        parts: comparison.parts,
        probes: comparison.probes,
    };
    (summary, buffers)
}

/// Puts a comparison together again: the inverse of [`pack_comparison`].
///
/// # Errors
/// [`BadParcel`] when the arrays are not those of the summary.
pub fn unpack_comparison(
    summary: ComparisonSummary,
    mut buffers: Vec<Buffer>,
) -> Result<Comparison, BadParcel> {
    let (rows, columns) = (summary.rows, summary.columns);
    Ok(Comparison {
        unit_capture: summary.unit_capture,
        emissivity: picture(&mut buffers, 0, rows, columns)?,
        baseline: picture(&mut buffers, 1, rows, columns)?,
        unit: picture(&mut buffers, 2, rows, columns)?,
        difference: picture(&mut buffers, 3, rows, columns)?,
        tolerance: picture(&mut buffers, 4, rows, columns)?,
        emissivity_uncertainty: picture(&mut buffers, 5, rows, columns)?,
        unit_uncertainty: picture(&mut buffers, 6, rows, columns)?,
        difference_uncertainty: picture(&mut buffers, 7, rows, columns)?,
        spread: if summary.has_spread { Some(picture(&mut buffers, 8, rows, columns)?) } else { None },
        alignment: summary.alignment,
        noise: summary.noise,
        netd: summary.netd,
        unit_gain: summary.unit_gain,
        judged_by: summary.judged_by,
        baseline_count: summary.baseline_count,
        left_out: summary.left_out,
        rejected: summary.rejected,
        set_aside: summary.set_aside,
        footprints: summary.footprints,
        findings: summary.findings,
        parts: summary.parts,
        probes: summary.probes,
    })
}

/// A picture's numbers for travelling.
#[must_use]
pub fn numbers<Q>(frame: Frame<Q>) -> Buffer {
    let array = frame.into_array();
    Buffer::Numbers(array.into_raw_vec_and_offset().0)
}

/// The picture that travelled as array `index`.
///
/// # Errors
/// [`BadParcel`] when there is none of that size.
pub fn picture<Q>(
    buffers: &mut [Buffer],
    index: usize,
    rows: usize,
    columns: usize,
) -> Result<Frame<Q>, BadParcel> {
    match buffers.get_mut(index) {
        Some(Buffer::Numbers(values)) => Ok(Frame::from_rows(rows, columns, std::mem::take(values))?),
        _ => Err(BadParcel::MissingArray { index }),
    }
}

/// The bytes that travelled as array `index`.
///
/// # Errors
/// [`BadParcel::MissingArray`].
pub fn bytes(buffers: &mut [Buffer], index: usize) -> Result<Vec<u8>, BadParcel> {
    match buffers.get_mut(index) {
        Some(Buffer::Bytes(bytes)) => Ok(std::mem::take(bytes)),
        _ => Err(BadParcel::MissingArray { index }),
    }
}
