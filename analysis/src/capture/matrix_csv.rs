//! A matrix of numbers as text: one line per row of pixels, delimited by comma, semicolon or tab.
//!
//! The last line tells the delimiter, since text may stand above the numbers. With semicolon or tab
//! a decimal comma is read as well as a decimal point. Empty cells and `NaN` are invalid pixels.

use csv::{ReaderBuilder, StringRecord};

use super::pages::{PageCollector, SampleKind};
use super::read_error::{ReadError, ReadWarning};

const EXPORT_MATRIX: &str = "Export the numbers alone: one line per row, as many cells in each, delimited by \
                             comma, semicolon or tab";

/// Hands the one page to `collector`; yields how its numbers are written and the warnings.
///
/// The numbers count as real once one of them has a decimal sign or an exponent.
pub(super) fn read_matrix_csv(
    file_name: &str,
    text: &str,
    collector: &mut PageCollector<'_>,
) -> Result<(SampleKind, Vec<ReadWarning>), ReadError> {
    let delimiter = find_delimiter(text);
    let mut warnings = Vec::new();
    let mut lines = read_lines(file_name, text, delimiter)?;
    let skipped = count_header_lines(&lines, delimiter);
    lines.drain(..skipped);
    if skipped > 0 {
        warnings.push(ReadWarning::HeaderSkipped { lines: skipped });
    }
    let Some((first_line, first)) = lines.first() else {
        return Err(ReadError::malformed(
            file_name,
            "it begins neither as a TIFF nor as a PGM, and as text it holds no line of numbers",
            EXPORT_MATRIX,
        ));
    };
    let mut columns = first.len();
    if let Some((line, row)) = lines.iter().find(|(_, row)| row.len() != columns) {
        let what = format!("line {line} has {} cells, but line {first_line} has {columns}", row.len());
        return Err(ReadError::malformed(file_name, what, EXPORT_MATRIX));
    }
    if columns > 1 && lines.iter().all(|(_, row)| row.get(columns - 1).is_some_and(str::is_empty)) {
        columns -= 1;
        warnings.push(ReadWarning::EmptyLastColumn);
    }
    collector.admit(1, as_u64(lines.len()), as_u64(columns))?;
    let mut numbers = Vec::with_capacity(lines.len().saturating_mul(columns));
    let mut samples = SampleKind::Integer;
    for (line, row) in &lines {
        for (index, cell) in row.iter().take(columns).enumerate() {
            let Some(number) = read_cell(cell, delimiter) else {
                let what = format!("line {line}, cell {}: \"{}\" is not a number", index + 1, shorten(cell));
                return Err(ReadError::malformed(file_name, what, EXPORT_MATRIX));
            };
            if number.is_finite() && cell.contains(['.', ',', 'e', 'E']) {
                samples = SampleKind::Real;
            }
            numbers.push(number);
        }
    }
    collector.take(1, lines.len(), columns, numbers)?;
    Ok((samples, warnings))
}

fn as_u64(count: usize) -> u64 {
    u64::try_from(count).unwrap_or(u64::MAX)
}

fn find_delimiter(text: &str) -> u8 {
    let last = text.lines().rev().find(|line| !line.trim().is_empty()).unwrap_or_default();
    [b'\t', b';'].into_iter().find(|&delimiter| last.contains(char::from(delimiter))).unwrap_or(b',')
}

/// Every line that is not blank, with its number from 1.
fn read_lines(file_name: &str, text: &str, delimiter: u8) -> Result<Vec<(u64, StringRecord)>, ReadError> {
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut lines = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| {
            ReadError::malformed(file_name, format!("the text is damaged ({error})"), EXPORT_MATRIX)
        })?;
        lines.push((record.position().map_or(0, csv::Position::line), record));
    }
    Ok(lines)
}

/// How many leading lines are clearly not numbers: they hold text, and either no number at all or
/// another count of cells than the last line.
fn count_header_lines(lines: &[(u64, StringRecord)], delimiter: u8) -> usize {
    let columns = lines.last().map_or(0, |(_, row)| row.len());
    let is_header = |row: &StringRecord| {
        let has_text = row.iter().any(|cell| read_cell(cell, delimiter).is_none());
        let has_number = row.iter().any(|cell| read_cell(cell, delimiter).is_some_and(f32::is_finite));
        has_text && (!has_number || row.len() != columns)
    };
    lines.iter().take_while(|(_, row)| is_header(row)).count()
}

/// The number in a cell, NaN when it is empty; `None` when it holds something else.
#[expect(clippy::cast_possible_truncation, reason = "pixels are f32")]
fn read_cell(cell: &str, delimiter: u8) -> Option<f32> {
    if cell.is_empty() {
        return Some(f32::NAN);
    }
    let number = if delimiter != b',' && cell.contains(',') && !cell.contains('.') {
        cell.replacen(',', ".", 1).parse::<f64>()
    } else {
        cell.parse::<f64>()
    };
    number.ok().map(|number| number as f32)
}

fn shorten(cell: &str) -> String {
    const SHOWN: usize = 24;
    let shown: String = cell.chars().take(SHOWN).collect();
    if shown.len() < cell.len() { format!("{shown}…") } else { shown }
}
