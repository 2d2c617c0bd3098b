//! A table with headings out of a text file, whatever separates its columns.
//!
//! Board files come from many programs: separated by commas, semicolons or tabs, with lines of
//! remarks above the headings, with or without quotes.

use std::ops::Range;

/// Why a placement or limits file could not be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BoardFileError {
    /// No line holds the headings that are needed.
    #[error(
        "{file_name}: no line of headings was found: one line must name the columns {needed}, \
         separated by commas, semicolons or tabs"
    )]
    NoHeadings {
        /// The file.
        file_name: String,
        /// The columns that must be there.
        needed: &'static str,
    },
    /// The headings are there and nothing follows.
    #[error("{file_name}: there are headings but no part below them: export the file again")]
    NoParts {
        /// The file.
        file_name: String,
    },
    /// A cell does not hold what its column says.
    #[error("{file_name}, line {line}: the {column} of {designator} reads \"{text}\": {what}")]
    Cell {
        /// The file.
        file_name: String,
        /// Line of the file, from 1.
        line: u64,
        /// What the column stands for.
        column: &'static str,
        /// The part of that line.
        designator: String,
        /// The cell.
        text: String,
        /// What is wrong and what to do.
        what: &'static str,
    },
    /// Neither the file nor the caller says whether lengths are millimetres, mils or inches.
    #[error(
        "{file_name}: nothing states the unit of the coordinates: say whether they are millimetres, \
         mils or inches (the parts span {} by {} of them)", .span[0], .span[1]
    )]
    UnitUnstated {
        /// The file.
        file_name: String,
        /// From the leftmost to the rightmost part and from the lowest to the highest, as numbers
        /// of the file: a board of 80 mm is no board of 80 inches.
        span: [f64; 2],
    },
}

/// One column that is asked for: the spellings of its heading, the best first, each in lower case
/// with letters and digits only.
pub(super) type Spellings = &'static [&'static str];

/// A heading as it was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Column {
    /// Its place in a row.
    index: usize,
    /// What follows the spelling in the heading, in lower case letters and digits: most often a unit.
    pub(super) rest: String,
}

/// The rows below the headings.
#[derive(Debug)]
pub(super) struct Table {
    /// The headings' cells, in lower case letters and digits.
    headings: Vec<String>,
    /// Line number and cells.
    rows: Vec<(u64, Vec<String>)>,
    /// The lines above the headings.
    pub(super) preamble: Vec<String>,
}

/// Headings further down than this are not looked for.
const LONGEST_PREAMBLE: usize = 200;

/// Finds the first line on which every one of `needed` has its column, and reads what follows.
pub(super) fn read_table(text: &str, needed: &[Spellings], units: Spellings) -> Option<Table> {
    let text = text.trim_start_matches('\u{feff}');
    for (number, line, span) in lines(text).take(LONGEST_PREAMBLE) {
        for delimiter in [b'\t', b';', b','] {
            // Some programs write the headings as a remark.
            let Some((_, cells)) = records(line.trim_start_matches(['#', ' ']), delimiter, 1).next() else {
                continue;
            };
            let headings: Vec<String> = cells.iter().map(|cell| plain(cell)).collect();
            if needed.iter().all(|spellings| find(&headings, spellings, units).is_some()) {
                let preamble = lines(text).take(number).map(|(_, line, _)| line.to_owned()).collect();
                let rows = records(text.get(span.end..).unwrap_or_default(), delimiter, number as u64 + 2)
                    .filter(|(_, cells)| {
                        cells.iter().any(|cell| !cell.is_empty())
                            && !cells.first().is_some_and(|first| first.starts_with('#'))
                    })
                    .collect();
                return Some(Table { headings, rows, preamble });
            }
        }
    }
    None
}

impl Table {
    /// The column with the best of these spellings, alone or followed by one of `units`.
    pub(super) fn column(&self, spellings: Spellings, units: Spellings) -> Option<Column> {
        find(&self.headings, spellings, units)
    }

    /// The rows, each with its line in the file.
    pub(super) fn rows(&self) -> impl Iterator<Item = Row<'_>> {
        self.rows.iter().map(|(line, cells)| Row { line: *line, cells })
    }
}

/// One row.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row<'a> {
    /// Line of the file, from 1.
    pub(super) line: u64,
    cells: &'a [String],
}

impl<'a> Row<'a> {
    /// The text of a cell, without blanks around it; empty where there is none.
    pub(super) fn cell(&self, column: Option<&Column>) -> &'a str {
        column.and_then(|column| self.cells.get(column.index)).map_or("", |cell| cell.as_str())
    }
}

/// Lower case letters and digits only.
pub(super) fn plain(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn find(headings: &[String], spellings: &[&str], units: &[&str]) -> Option<Column> {
    spellings.iter().find_map(|spelling| {
        headings.iter().enumerate().find_map(|(index, heading)| {
            let rest = heading.strip_prefix(spelling)?;
            (rest.is_empty() || units.contains(&rest)).then(|| Column { index, rest: rest.to_owned() })
        })
    })
}

/// Each line with its index from 0 and its bytes, line end included.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str, Range<usize>)> {
    let mut start = 0;
    text.split_inclusive('\n').enumerate().map(move |(number, line)| {
        let span = start..start + line.len();
        start = span.end;
        (number, line.trim_end_matches(['\n', '\r']), span)
    })
}

fn records(text: &str, delimiter: u8, first_line: u64) -> impl Iterator<Item = (u64, Vec<String>)> {
    let (mut counted, mut line) = (0, first_line);
    csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes())
        .into_records()
        // Text that is UTF-8 and of any length per line cannot fail to be read.
        .filter_map(Result::ok)
        .map(|record| {
            // The position given lies before the blank lines that were skipped.
            let start = record.position().map_or(counted, |position| position.byte() as usize);
            let blank =
                text.get(start..).map_or(0, |rest| rest.len() - rest.trim_start_matches(['\r', '\n']).len());
            let passed = text.get(counted..start + blank).unwrap_or_default();
            line += passed.bytes().filter(|&byte| byte == b'\n').count() as u64;
            counted = start + blank;
            (line, record.iter().map(|cell| cell.trim_matches('\'').trim().to_owned()).collect())
        })
        .collect::<Vec<_>>()
        .into_iter()
}
