//! The documents a comparison is handed on as, written and read in the worker.

use std::collections::BTreeMap;

use analysis::comparison::Comparison;
use analysis::content_hash::ContentHash;
use analysis::result::{
    BaselineInput, LoneUnitInput, OriginalFile, ResultError, ResultInput, findings_csv, read_result,
    temperature_maps, twins_csv, write_baseline, write_lone_unit, write_result,
};
use analysis::session::Session;

use super::handle::{Failure, Kept, Report, Workbench};
use super::protocol::{Buffer, Document, Outcome, WrittenFile};

const NOTHING_SAVED: &str = "Nothing was saved; the session is as it was.";

impl Workbench {
    /// Writes a document of the session's comparison, which is made again where it must be.
    pub(super) fn write(
        &mut self,
        document: Document,
        session: &Session,
        written_at: &str,
        report: &mut Report<'_>,
    ) -> Result<(Outcome, Vec<Buffer>), Failure> {
        let name = name_of(session);
        let written = match document {
            Document::Result if session.is_without_good_boards() => {
                self.lone_unit_file(&name, session, written_at, report)
            }
            Document::Result => self.result_file(&name, session, written_at, report),
            Document::Findings => tables(&name, session, &self.compared(session, report)?),
            Document::Twins => self.twins_table(&name, session, report),
            Document::Maps => maps(&name, &self.compared(session, report)?),
            Document::Baseline => self.baseline_file(&session.baseline_only(), written_at, report),
        }?;
        let (files, buffers) = written.into_iter().unzip();
        Ok((Outcome::Written { files }, buffers))
    }

    fn compared(&mut self, session: &Session, report: &mut Report<'_>) -> Result<Comparison, Failure> {
        let compared = self.compare(session, report).map_err(|why| Failure::new(why, NOTHING_SAVED))?;
        report("Writing", 0.9);
        Ok(compared)
    }

    fn twins_table(
        &mut self,
        name: &str,
        session: &Session,
        report: &mut Report<'_>,
    ) -> Result<Vec<Written>, Failure> {
        let shelf = self.shelf();
        let found = self.steps.twins(session, &shelf, report);
        let found = found.map_err(|why| Failure::new(why, NOTHING_SAVED))?;
        let table = twins_csv(session, &found).map_err(|error| Failure::new(error, NOTHING_SAVED))?;
        Ok(vec![written(format!("{name}-twins.csv"), "text/csv", table.into_bytes())])
    }

    fn baseline_file(
        &mut self,
        session: &Session,
        written_at: &str,
        report: &mut Report<'_>,
    ) -> Result<Vec<Written>, Failure> {
        let shelf = self.shelf();
        let learned = self.steps.learned(session, &shelf, report);
        let learned = learned.map_err(|why| Failure::new(why, NOTHING_SAVED))?;
        report("Writing", 0.9);
        let input = BaselineInput {
            session,
            learned,
            originals: &originals(&self.captures, session),
            written_at,
            software_version: env!("CARGO_PKG_VERSION"),
        };
        let html = write_baseline(&input).map_err(|error| Failure::new(error, NOTHING_SAVED))?;
        let product = file_name_of(session.board.product.trim());
        Ok(vec![written(format!("{product}-baseline.html"), "text/html", html.into_bytes())])
    }

    fn result_file(
        &mut self,
        name: &str,
        session: &Session,
        written_at: &str,
        report: &mut Report<'_>,
    ) -> Result<Vec<Written>, Failure> {
        let comparison = self.compared(session, report)?;
        let twins = match session.criteria.twins.beside_good_boards {
            // What it lacks the page tells beside the check; the rest of the result stands without it.
            true => self.steps.twins(session, &self.shelf(), report).ok(),
            false => None,
        };
        let input = ResultInput {
            session,
            comparison: &comparison,
            twins: twins.as_ref(),
            originals: &originals(&self.captures, session),
            written_at,
            software_version: env!("CARGO_PKG_VERSION"),
        };
        sheet(name, write_result(&input))
    }

    /// The result where there is no known-good board.
    fn lone_unit_file(
        &mut self,
        name: &str,
        session: &Session,
        written_at: &str,
        report: &mut Report<'_>,
    ) -> Result<Vec<Written>, Failure> {
        let unit = self.steps.lone_unit(session, &self.shelf(), report);
        let unit = unit.map_err(|why| Failure::new(why, NOTHING_SAVED))?;
        report("Writing", 0.9);
        let input = LoneUnitInput {
            session,
            unit: &unit,
            originals: &originals(&self.captures, session),
            written_at,
            software_version: env!("CARGO_PKG_VERSION"),
        };
        sheet(name, write_lone_unit(&input))
    }
}

/// A unit's result as the one file that it is.
fn sheet(name: &str, html: Result<String, ResultError>) -> Result<Vec<Written>, Failure> {
    let html = html.map_err(|error| Failure::new(error, NOTHING_SAVED))?;
    Ok(vec![written(format!("{name}-result.html"), "text/html", html.into_bytes())])
}

/// The files of a session, as they were loaded.
fn originals<'a>(captures: &'a BTreeMap<ContentHash, Kept>, session: &Session) -> Vec<OriginalFile<'a>> {
    let files = session.files();
    let kept = files.iter().filter_map(|hash| captures.get(hash));
    kept.map(|kept| OriginalFile { file_name: &kept.file_name, bytes: &kept.bytes }).collect()
}

type Written = (WrittenFile, Buffer);

fn written(file_name: String, media_type: &str, bytes: Vec<u8>) -> Written {
    (WrittenFile { file_name, media_type: media_type.to_owned() }, Buffer::Bytes(bytes))
}

fn tables(name: &str, session: &Session, comparison: &Comparison) -> Result<Vec<Written>, Failure> {
    let table = findings_csv(session, comparison).map_err(|error| Failure::new(error, NOTHING_SAVED))?;
    Ok(vec![written(format!("{name}-findings.csv"), "text/csv", table.into_bytes())])
}

fn maps(name: &str, comparison: &Comparison) -> Result<Vec<Written>, Failure> {
    let maps = temperature_maps(comparison).map_err(|error| Failure::new(error, NOTHING_SAVED))?;
    Ok(maps
        .into_iter()
        .map(|map| written(format!("{name}-{}.tiff", map.name), "image/tiff", map.bytes))
        .collect())
}

/// A file name that says which board: its serial, else the unit's capture, without signs that a file system refuses.
fn name_of(session: &Session) -> String {
    let unit = session.unit().map_or("", |unit| unit.file_name.as_str());
    let stem = unit.rsplit_once('.').map_or(unit, |(stem, _)| stem);
    let name = if session.board.serial.trim().is_empty() { stem } else { session.board.serial.trim() };
    file_name_of(name)
}

fn file_name_of(name: &str) -> String {
    let name: String = name
        .chars()
        .map(|letter| if letter.is_alphanumeric() || matches!(letter, '-' | '_') { letter } else { '-' })
        .collect();
    if name.is_empty() { "board".to_owned() } else { name }
}

/// Reads a result file: its session and captures.
pub(super) fn read(file_name: String, bytes: &[u8]) -> Result<(Outcome, Vec<Buffer>), Failure> {
    let html = String::from_utf8_lossy(bytes);
    let restored = read_result(&file_name, &html).map_err(|error| Failure::new(error, ""))?;
    let captures = restored.captures.iter().map(|capture| ContentHash::of(&capture.bytes)).collect();
    let buffers = restored.captures.into_iter().map(|capture| Buffer::Bytes(capture.bytes)).collect();
    Ok((Outcome::Restored { file_name, session: Box::new(restored.session), captures }, buffers))
}
