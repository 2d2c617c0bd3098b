//! The documents a comparison is handed on as, written and read in the worker.

use analysis::session::Session;

use super::handle::{Failure, Report, Workbench};
use super::protocol::{Buffer, Document, Outcome};

impl Workbench {
    /// Writes a document of the session's comparison, which is made again where it must be.
    pub(super) fn write(
        &mut self,
        document: Document,
        session: &Session,
        written_at: &str,
        report: &mut Report<'_>,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let _ = (document, written_at);
        let _comparison = self
            .compare(session, report)
            .map_err(|why| Failure::new(why, "Nothing was saved."))?;
        Err(Failure::new("This version cannot write results yet.", ""))
    }
}

/// Reads a result file: its session and captures.
pub(super) fn read(file_name: String, bytes: &[u8]) -> Result<(Outcome, Vec<Buffer>), Failure> {
    let _ = bytes;
    Err(Failure::new(format!("{file_name}: this version cannot read results yet."), ""))
}
