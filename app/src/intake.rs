//! What a dropped file is, by what it holds and by its name. No file is refused here: one that is
//! nothing else is taken for a capture, whose reader says what is wrong with it.

use analysis::board::{is_gerber, is_netlist};
use analysis::capture::sidecar_names;
use analysis::session::Role;

use crate::compute::protocol::Sidecar;

/// A file as it was dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dropped {
    /// Its name, without folders.
    pub file_name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// A capture and the sidecar that came with it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DroppedCapture {
    /// The capture's file.
    pub file: Dropped,
    /// What says what its numbers mean.
    pub sidecar: Option<Sidecar>,
}

/// A text file as it was dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DroppedText {
    /// Its name, without folders.
    pub file_name: String,
    /// Its text.
    pub text: String,
}

/// Dropped files by what they are.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sorted {
    /// Pictures, in the order of their names.
    pub captures: Vec<DroppedCapture>,
    /// What tells of the board: placements, limits, netlists, Gerber layers, or something that turns out to be none.
    pub tables: Vec<Dropped>,
    /// Result files.
    pub results: Vec<Dropped>,
    /// Saved sessions.
    pub sessions: Vec<DroppedText>,
    /// Sidecars whose capture is not among the files.
    pub lone_sidecars: Vec<Sidecar>,
}

/// Sorts dropped files, and puts sidecars beside their captures.
#[must_use]
pub fn sort(files: Vec<Dropped>) -> Sorted {
    let mut sorted = Sorted::default();
    let mut sidecars = Vec::new();
    let mut captures = Vec::new();
    let mut tables = Vec::new();
    for file in files {
        match kind(&file) {
            Kind::Capture => captures.push(file),
            Kind::Table => tables.push(file),
            Kind::Result => sorted.results.push(file),
            Kind::Session => sorted.sessions.push(text(file)),
            Kind::Sidecar => sidecars.push(text(file)),
        }
    }
    // Whatever its headings look like: what has a sidecar is a picture.
    let described =
        |table: &Dropped| sidecars.iter().any(|sidecar| belongs(&sidecar.file_name, &table.file_name));
    let (pictures, tables) = tables.into_iter().partition(described);
    captures.extend::<Vec<_>>(pictures);
    sorted.tables = tables;
    captures.sort_by(|one, other| one.file_name.cmp(&other.file_name));
    for file in captures {
        let place = sidecars.iter().position(|sidecar| belongs(&sidecar.file_name, &file.file_name));
        let sidecar = place.map(|place| sidecar_of(sidecars.remove(place)));
        sorted.captures.push(DroppedCapture { file, sidecar });
    }
    sorted.lone_sidecars = sidecars.into_iter().map(sidecar_of).collect();
    sorted
}

/// Whether a file of this name is the sidecar of that capture.
#[must_use]
pub fn belongs(sidecar_file: &str, capture_file: &str) -> bool {
    sidecar_names(capture_file).iter().any(|name| name.eq_ignore_ascii_case(sidecar_file))
}

/// What the name of a capture says it is for; `None` when it says nothing.
///
/// Whole words only, so that `community.tiff` names no unit.
#[must_use]
pub fn role_by_name(file_name: &str) -> Option<Role> {
    const BASELINE: [&str; 4] = ["baseline", "good", "reference", "golden"];
    const UNIT: [&str; 8] = ["unit", "suspect", "faulty", "fault", "hot", "dut", "sick", "bad"];
    let name = file_name.to_ascii_lowercase();
    let says = |words: &[&str]| {
        name.split(|letter: char| !letter.is_ascii_alphabetic()).any(|word| words.contains(&word))
    };
    match (says(&BASELINE), says(&UNIT)) {
        (true, false) => Some(Role::Baseline),
        (false, true) => Some(Role::Unit),
        // Nothing, or both: `good-unit-3` is a known-good board of many units.
        (true, true) => Some(Role::Baseline),
        (false, false) => None,
    }
}

/// What a capture that arrives is for: what its name says, else the first is the baseline, the next
/// the unit, and every later one another baseline.
#[must_use]
pub fn role_on_arrival(file_name: &str, has_baseline: bool, has_unit: bool) -> Role {
    match role_by_name(file_name) {
        Some(Role::Unit) if !has_unit => Role::Unit,
        // One unit at a time: a second one waits until the person takes it up.
        Some(Role::Unit) => Role::Waiting,
        Some(role) => role,
        None if has_baseline && !has_unit => Role::Unit,
        None => Role::Baseline,
    }
}

enum Kind {
    Capture,
    Sidecar,
    Table,
    Result,
    Session,
}

fn kind(file: &Dropped) -> Kind {
    let start = file.bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&file.bytes).trim_ascii_start();
    let name = file.file_name.to_ascii_lowercase();
    if start.first() == Some(&b'{') {
        let says_schema = String::from_utf8_lossy(&file.bytes).contains("\"schema\"");
        return if says_schema && !name_is_sidecar(&file.bytes) { Kind::Session } else { Kind::Sidecar };
    }
    if starts_with_word(start, b"<!doctype html") || starts_with_word(start, b"<html") {
        return Kind::Result;
    }
    // An empty or broken one is still a sidecar by its name, and its reader will say so.
    if name.ends_with(".json") {
        return Kind::Sidecar;
    }
    if has_headings(start) || holds_board_data(start) { Kind::Table } else { Kind::Capture }
}

/// Whether the file is a netlist or a Gerber layer by what it holds: such files are called .ipc, .356, .gbr, .gm1 and
/// much else.
fn holds_board_data(start: &[u8]) -> bool {
    let head = start.get(..start.len().min(65536)).unwrap_or_default();
    if head.contains(&0) {
        return false;
    }
    let head = String::from_utf8_lossy(head);
    is_gerber(&head) || is_netlist(&head)
}

fn name_is_sidecar(bytes: &[u8]) -> bool {
    String::from_utf8_lossy(bytes).contains("\"boardglow_sidecar\"")
}

fn starts_with_word(bytes: &[u8], word: &[u8]) -> bool {
    bytes.get(..word.len()).is_some_and(|start| start.eq_ignore_ascii_case(word))
}

/// Whether a text file begins with a line that names columns of parts, within its first lines.
fn has_headings(start: &[u8]) -> bool {
    const DESIGNATOR: [&str; 8] =
        ["ref", "refdes", "designator", "reference", "part", "component", "name", "referencedesignator"];
    let head = start.get(..start.len().min(4096)).unwrap_or_default();
    if head.contains(&0) {
        return false;
    }
    String::from_utf8_lossy(head).lines().take(30).any(|line| {
        let cells = line.split([',', ';', '\t']).map(|cell| {
            cell.chars().filter(char::is_ascii_alphanumeric).collect::<String>().to_ascii_lowercase()
        });
        let cells: Vec<_> = cells.collect();
        cells.len() > 1 && cells.iter().any(|cell| DESIGNATOR.contains(&cell.as_str()))
    })
}

/// The text that a file holds.
#[must_use]
pub fn text(file: Dropped) -> DroppedText {
    DroppedText {
        file_name: file.file_name,
        text: String::from_utf8_lossy(&file.bytes).trim_start_matches('\u{FEFF}').to_owned(),
    }
}

fn sidecar_of(file: DroppedText) -> Sidecar {
    Sidecar { file_name: file.file_name, text: file.text }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dropped(file_name: &str, bytes: &[u8]) -> Dropped {
        Dropped { file_name: file_name.to_owned(), bytes: bytes.to_vec() }
    }

    #[test]
    fn a_sidecar_goes_with_its_capture_by_either_name() {
        let sorted = sort(vec![
            dropped("b.json", b"{\"boardglow_sidecar\": 1}"),
            dropped("b.tiff", b"II*\0"),
            dropped("A.tiff.json", b"{\"boardglow_sidecar\": 1}"),
            dropped("a.tiff", b"II*\0"),
            dropped("c.json", b"{}"),
        ]);
        let names: Vec<_> = sorted.captures.iter().map(|capture| capture.file.file_name.as_str()).collect();
        assert_eq!(names, ["a.tiff", "b.tiff"]);
        assert!(sorted.captures.iter().all(|capture| capture.sidecar.is_some()));
        assert_eq!(sorted.lone_sidecars.len(), 1);
    }

    #[test]
    fn text_is_told_by_its_headings_and_a_matrix_is_a_capture() {
        let sorted = sort(vec![
            dropped("parts.csv", b"# made by hand\nRef,X (mm),Y (mm),Rot,Side\nR1,1,2,0,top\n"),
            dropped("limits.csv", b"designator;max_case_degC\nU1;85\n"),
            dropped("board.356", b"C  by hand\nP  UNITS CUST 0\n999\n"),
            dropped("board.gm1", b"G04 by hand*\n%TF.FileFunction,Profile,NP*%\nM02*\n"),
            dropped("frame.csv", b"21.5,22.0\n23.0,22.5\n"),
            dropped("result.html", b"<!DOCTYPE html><html></html>"),
            dropped("session.json", b"{\"schema\": 1}"),
        ]);
        assert_eq!(sorted.tables.len(), 4);
        assert_eq!(sorted.captures.len(), 1);
        assert_eq!(sorted.results.len(), 1);
        assert_eq!(sorted.sessions.len(), 1);
    }

    #[test]
    fn a_matrix_with_a_sidecar_is_a_capture_whatever_stands_above_it() {
        let sorted = sort(vec![
            dropped("frame.csv", b"Name,frame 12\n21.5,22.0\n23.0,22.5\n"),
            dropped("frame.json", b"{\"boardglow_sidecar\": 1}"),
        ]);
        assert!(sorted.tables.is_empty() && sorted.lone_sidecars.is_empty());
        assert!(sorted.captures[0].sidecar.is_some());
    }

    #[test]
    fn a_file_that_is_nothing_else_is_left_to_the_capture_reader() {
        let sorted = sort(vec![dropped("notes.docx", b"PK\x03\x04"), dropped("empty", b"")]);
        assert_eq!(sorted.captures.len(), 2);
    }

    #[test]
    fn roles_follow_names_and_then_the_order_of_arrival() {
        assert_eq!(role_on_arrival("baseline-2.tiff", true, false), Role::Baseline);
        assert_eq!(role_on_arrival("unit-7.tiff", false, false), Role::Unit);
        assert_eq!(role_on_arrival("unit-8.tiff", true, true), Role::Waiting);
        assert_eq!(role_on_arrival("sick-board-3.tiff", true, true), Role::Waiting);
        assert_eq!(role_on_arrival("0001.tiff", false, false), Role::Baseline);
        assert_eq!(role_on_arrival("0002.tiff", true, false), Role::Unit);
        assert_eq!(role_on_arrival("0003.tiff", true, true), Role::Baseline);
        assert_eq!(role_by_name("community.tiff"), None);
    }
}
