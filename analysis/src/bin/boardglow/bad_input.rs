//! What can be wrong with what the command line was given.

use std::path::{Path, PathBuf};

use analysis::board::{BoardFileError, GerberError, NetlistError};
use analysis::capture::sidecar::SidecarError;
use analysis::capture::{Question, ReadError, WriteError};
use analysis::comparison::{CannotCheckTwins, CannotCompare};
use analysis::recorded_frame::NotCorrectable;
use analysis::result::ResultError;
use analysis::sequence::{TimelineError, TrendTableError};
use analysis::session::Refusal;
use analysis::units::OutOfRange;

/// Each text names the file or argument, what is wrong and what to do.
#[derive(Debug, thiserror::Error)]
pub(crate) enum BadInput {
    #[error("{}: cannot be read: {source}. Check the name and whether the file may be read", .path.display())]
    Unreadable { path: PathBuf, source: std::io::Error },
    #[error("{}: is no UTF-8 text. Save it as UTF-8", .path.display())]
    NotText { path: PathBuf },
    #[error("{}: cannot be written: {source}. Choose another --out, or make room", .path.display())]
    Unwritable { path: PathBuf, source: std::io::Error },
    #[error(transparent)]
    Capture(#[from] ReadError),
    #[error(transparent)]
    Sidecar(#[from] SidecarError),
    #[error("{}: {question} State it in {sidecar}", .path.display())]
    Unstated { path: PathBuf, question: Question, sidecar: String },
    #[error("{}: {source} (\"frame_interval_s\" in {sidecar})", .path.display())]
    Untimed { path: PathBuf, source: TimelineError, sidecar: String },
    #[error("{}: none of its frames can be read: {what}. Export the recording again", .path.display())]
    NoFrames { path: PathBuf, what: String },
    #[error("{}: its frames cannot be corrected: {source}", .path.display())]
    Uncorrectable { path: PathBuf, source: NotCorrectable },
    #[error("{}: {source}", .path.display())]
    Table { path: PathBuf, source: TrendTableError },
    #[error(transparent)]
    Board(#[from] BoardFileError),
    #[error(transparent)]
    Netlist(#[from] NetlistError),
    #[error(transparent)]
    Gerber(#[from] GerberError),
    #[error("{}: {source}. State --placement-unit mm, mil or inch", .path.display())]
    LengthUnit { path: PathBuf, source: Box<BoardFileError> },
    #[error("{}: holds no emissivities that can be used: {what}", .path.display())]
    Emissivity { path: PathBuf, what: String },
    #[error("{argument}: {source}")]
    Argument { argument: &'static str, source: OutOfRange },
    #[error("--limit: {value} K is no limit: it must be zero or more")]
    Limit { value: f64 },
    #[error("--false-alarms: {value} is no rate: of a hundred good boards it must be 0 to 50")]
    FalseAlarms { value: f64 },
    #[error("two units would be written as \"{name}\": rename one of the files")]
    SameName { name: String },
    #[error("{}: {source}", .path.display())]
    Refused { path: PathBuf, source: Refusal },
    #[error("{}: {source}", .path.display())]
    CannotCompare { path: PathBuf, source: Box<CannotCompare> },
    #[error("{}: {source}", .path.display())]
    CannotCheckTwins { path: PathBuf, source: Box<CannotCheckTwins> },
    #[error("--usual: {value} % is no spread: it must be above 0 and at most 100")]
    UsualSpread { value: f64 },
    #[error("{}: the result cannot be written: {source}", .path.display())]
    Result { path: PathBuf, source: Box<ResultError> },
    #[error("{}: a map cannot be written: {source}", .path.display())]
    Map { path: PathBuf, source: WriteError },
}

/// The bytes of a file.
pub(crate) fn read_bytes(path: &Path) -> Result<Vec<u8>, BadInput> {
    std::fs::read(path).map_err(|source| BadInput::Unreadable { path: path.to_owned(), source })
}

/// The text of a file.
pub(crate) fn read_text(path: &Path) -> Result<String, BadInput> {
    String::from_utf8(read_bytes(path)?).map_err(|_| BadInput::NotText { path: path.to_owned() })
}
