//! What is handed on: one self-contained HTML file, tables, maps and an answer for machines.
//!
//! Everything here is a view of a [`Session`] and its [`Comparison`]; nothing is measured or judged.
//! The HTML file is read by anyone with a browser and, by [`read_result`], leads back to the session
//! and the captures it was made from.

mod answer;
mod embedded;
mod html;
mod maps;
mod numbers;
mod restore;
mod tables;
mod words;

pub use answer::{UnitAnswer, answer_json};
pub use html::{BaselineInput, LoneUnitInput, write_baseline, write_lone_unit, write_result};
pub use maps::{NamedMap, temperature_maps};
pub use restore::{RestoreError, RestoredCapture, RestoredResult, read_result};
pub use tables::{findings_csv, parts_csv, probes_csv, twins_csv, units_csv};

use crate::comparison::{Comparison, TwinReport};
use crate::session::Session;

/// A file that was loaded, byte for byte.
#[derive(Debug, Clone, Copy)]
pub struct OriginalFile<'a> {
    /// The name it was loaded under.
    pub file_name: &'a str,
    /// Its bytes.
    pub bytes: &'a [u8],
}

/// Everything a result file is made from.
#[derive(Debug, Clone, Copy)]
pub struct ResultInput<'a> {
    /// What the person said and did.
    pub session: &'a Session,
    /// What the captures show.
    pub comparison: &'a Comparison,
    /// How the unit's parts of one kind stand, where that was asked for beside the known-good boards.
    pub twins: Option<&'a TwinReport>,
    /// The captures and emissivity pictures that the session names.
    pub originals: &'a [OriginalFile<'a>],
    /// When the file is written, as it is to be printed.
    pub written_at: &'a str,
    /// The version of the software that writes it.
    pub software_version: &'a str,
}

/// Why a result could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ResultError {
    /// The session has no JSON form.
    #[error("the session cannot be saved: {0}")]
    Session(#[from] crate::session::saved::SavedError),
    /// The pictures' data have no JSON form.
    #[error("the pictures' data cannot be written: {0}")]
    Json(#[from] serde_json::Error),
    /// A picture could not be encoded.
    #[error("a picture cannot be encoded: {0}")]
    Picture(#[from] image::ImageError),
    /// A table could not be written.
    #[error("a table cannot be written: {0}")]
    Table(#[from] csv::Error),
    /// A block could not be compressed.
    #[error("a block of data cannot be compressed: {0}")]
    Compression(#[from] std::io::Error),
}
