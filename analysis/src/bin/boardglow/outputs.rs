//! The files of one unit, the answer of all, and the line that is printed for each.

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use analysis::comparison::{Comparison, LoneUnit};
use analysis::result::{
    self, LoneUnitInput, OriginalFile, ResultInput, UnitAnswer, answer_json, findings_csv, temperature_maps,
    twins_csv, write_result,
};
use analysis::session::Session;
use time::OffsetDateTime;
use time::format_description::well_known::Rfc3339;

use crate::bad_input::BadInput;

/// A file to be kept inside the result. Baselines are shared by all units.
#[derive(Clone)]
pub(crate) struct Original {
    pub(crate) file_name: String,
    pub(crate) bytes: Arc<Vec<u8>>,
}

/// Makes the folder if need be.
pub(crate) fn prepare_folder(folder: &Path) -> Result<(), BadInput> {
    std::fs::create_dir_all(folder).map_err(|source| BadInput::Unwritable { path: folder.to_owned(), source })
}

/// Writes sheet, maps and table of the unit, and prints its line.
pub(crate) fn write_unit(
    folder: &Path,
    name: &str,
    session: &Session,
    comparison: &Comparison,
    originals: &[Original],
) -> Result<UnitAnswer, BadInput> {
    let result = |source| BadInput::Result { path: folder.join(name), source: Box::new(source) };
    let sheet = write_result(&ResultInput {
        session,
        comparison,
        twins: None,
        originals: &as_files(originals),
        written_at: &now(),
        software_version: env!("CARGO_PKG_VERSION"),
    })
    .map_err(result)?;
    write(folder, &format!("{name}.html"), sheet.as_bytes())?;
    write(
        folder,
        &format!("{name}-findings.csv"),
        findings_csv(session, comparison).map_err(result)?.as_bytes(),
    )?;
    let maps =
        temperature_maps(comparison).map_err(|source| BadInput::Map { path: folder.join(name), source })?;
    for map in maps {
        write(folder, &format!("{name}-{}.tif", map.name), &map.bytes)?;
    }
    print(&line(name, comparison));
    Ok(UnitAnswer::new(name, &format!("{name}-unit.tif"), comparison))
}

/// Writes sheet and table of a unit without known-good boards.
pub(crate) fn write_lone_unit(
    folder: &Path,
    name: &str,
    session: &Session,
    unit: &LoneUnit,
    originals: &[Original],
) -> Result<(), BadInput> {
    let result = |source| BadInput::Result { path: folder.join(name), source: Box::new(source) };
    let sheet = result::write_lone_unit(&LoneUnitInput {
        session,
        unit,
        originals: &as_files(originals),
        written_at: &now(),
        software_version: env!("CARGO_PKG_VERSION"),
    })
    .map_err(result)?;
    write(folder, &format!("{name}.html"), sheet.as_bytes())?;
    let table = twins_csv(session, &unit.twins).map_err(result)?;
    write(folder, &format!("{name}-twins.csv"), table.as_bytes())
}

fn as_files(originals: &[Original]) -> Vec<OriginalFile<'_>> {
    originals
        .iter()
        .map(|original| OriginalFile { file_name: &original.file_name, bytes: &original.bytes })
        .collect()
}

fn now() -> String {
    let now = OffsetDateTime::now_utc().replace_nanosecond(0).ok();
    now.and_then(|now| now.format(&Rfc3339).ok()).unwrap_or_default()
}

/// Writes `answer.json`.
pub(crate) fn write_answer(folder: &Path, answers: &[UnitAnswer]) -> Result<(), BadInput> {
    let name = "answer.json";
    let text = answer_json(answers)
        .map_err(|error| BadInput::Result { path: folder.join(name), source: Box::new(error.into()) })?;
    write(folder, name, text.as_bytes())
}

/// One line of the answer. The files are written: a closed pipe is no reason to fail.
pub(crate) fn print(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

pub(crate) fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), BadInput> {
    let path = folder.join(name);
    std::fs::write(&path, bytes).map_err(|source| BadInput::Unwritable { path, source })
}

/// `unit7: 2 findings, largest +12.4 K at U7; 1 part over its limit`
fn line(name: &str, comparison: &Comparison) -> String {
    let size = |kelvin: f64| kelvin.abs();
    let largest =
        comparison.findings.iter().max_by(|a, b| size(a.peak.value()).total_cmp(&size(b.peak.value())));
    let mut line = match largest {
        None => format!("{name}: no findings"),
        Some(finding) => {
            let count = comparison.findings.len();
            let noun = if count == 1 { "finding" } else { "findings" };
            let place = finding.designator.as_ref().map_or_else(
                || format!("x {:.0}, y {:.0}", finding.peak_at.x, finding.peak_at.y),
                Clone::clone,
            );
            format!("{name}: {count} {noun}, largest {:+.1} K at {place}", finding.peak.value())
        }
    };
    match comparison.parts_over_limit().count() {
        0 => {}
        1 => line.push_str("; 1 part over its limit"),
        over => line.push_str(&format!("; {over} parts over their limits")),
    }
    line
}
