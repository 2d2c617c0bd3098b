//! PGM, the Netpbm grey map: `P5` with 8 or 16 bits, several pictures per file, and the plain text `P2`.
//!
//! Read here and not by the image library in the tree, which stretches every picture to the full
//! range of its type (a 12-bit count of 4095 becomes 65535) and reads only the first picture; counts
//! must come through as they are. Format: Netpbm, *PGM Format Specification* (references of the project:
//! two-byte samples have the most significant byte first).

use super::pages::PageCollector;
use super::read_error::{ReadError, ReadWarning};

const EXPORT_AGAIN: &str = "Copy or export the file again";

/// Hands the wanted pages to `collector`; yields the number of pages and the warnings.
pub(super) fn read_pgm(
    file_name: &str,
    bytes: &[u8],
    collector: &mut PageCollector<'_>,
) -> Result<(usize, Vec<ReadWarning>), ReadError> {
    let mut source = Source { file_name, rest: bytes };
    let (mut pages, mut warnings) = (0, Vec::new());
    while let Some(plain) = source.next_magic() {
        pages += 1;
        collector.admit_page_count(pages)?;
        let header = source.header(pages)?;
        // Every page is checked, wanted or not: its size says where the next begins.
        let wanted = collector.wants(pages);
        if wanted {
            collector.admit(pages, header.rows, header.columns)?;
        }
        let raster = if plain { source.plain_raster(&header)? } else { source.raster(&header, wanted)? };
        if wanted {
            take_page(&header, raster, pages, collector, &mut warnings)?;
        }
        if plain {
            break;
        }
    }
    let trailing = source.rest.trim_ascii().len();
    if trailing > 0 {
        warnings.push(ReadWarning::TrailingBytes { bytes: trailing });
    }
    Ok((pages, warnings))
}

/// Where one binary picture's pixels lie, and how they are written.
pub(crate) struct PgmRaster {
    pub(crate) rows: u64,
    pub(crate) columns: u64,
    /// Bytes from where the search began to the first pixel.
    pub(crate) start: usize,
    pub(crate) bytes: u64,
    maximum: u32,
}

/// The binary picture that begins in `bytes`, white space before it skipped; `None` where none begins.
pub(crate) fn locate_raster(
    file_name: &str,
    page: usize,
    bytes: &[u8],
) -> Result<Option<PgmRaster>, ReadError> {
    let mut source = Source { file_name, rest: bytes };
    if source.next_magic() != Some(false) {
        return Ok(None);
    }
    let header = source.header(page)?;
    Ok(Some(PgmRaster {
        rows: header.rows,
        columns: header.columns,
        start: bytes.len() - source.rest.len(),
        bytes: header.raster_bytes(),
        maximum: header.maximum,
    }))
}

impl PgmRaster {
    /// The numbers of its pixels; those above the stated maximum are invalid.
    pub(crate) fn numbers(&self, raster: &[u8]) -> Vec<f32> {
        samples_of(raster, self.maximum).into_iter().map(|sample| valid(sample, self.maximum)).collect()
    }
}

struct Header {
    page: usize,
    columns: u64,
    rows: u64,
    maximum: u32,
}

impl Header {
    fn raster_bytes(&self) -> u64 {
        let size = if self.maximum < 256 { 1 } else { 2 };
        self.rows.saturating_mul(self.columns).saturating_mul(size)
    }
}

fn samples_of(raster: &[u8], maximum: u32) -> Vec<u32> {
    if maximum < 256 {
        raster.iter().copied().map(u32::from).collect()
    } else {
        raster.chunks_exact(2).map(be_pair).collect()
    }
}

#[expect(clippy::cast_precision_loss, reason = "samples are at most 65535, exact in f32")]
fn valid(sample: u32, maximum: u32) -> f32 {
    if sample > maximum { f32::NAN } else { sample as f32 }
}

fn take_page(
    header: &Header,
    raster: Vec<u32>,
    page: usize,
    collector: &mut PageCollector<'_>,
    warnings: &mut Vec<ReadWarning>,
) -> Result<(), ReadError> {
    let above = raster.iter().filter(|&&sample| sample > header.maximum).count();
    if above > 0 {
        warnings.push(ReadWarning::AboveMaximum { pixels: above, maximum: header.maximum });
    }
    let numbers = raster.into_iter().map(|sample| valid(sample, header.maximum)).collect();
    let [rows, columns] = [header.rows, header.columns].map(|n| usize::try_from(n).unwrap_or(usize::MAX));
    collector.take(page, rows, columns, numbers)
}

struct Source<'a> {
    file_name: &'a str,
    rest: &'a [u8],
}

impl<'a> Source<'a> {
    fn malformed(&self, what: String) -> ReadError {
        ReadError::malformed(self.file_name, what, EXPORT_AGAIN)
    }

    /// Whether another picture begins here, and whether it is plain text.
    fn next_magic(&mut self) -> Option<bool> {
        let start = self.rest.trim_ascii_start();
        let plain = match start.get(..2)? {
            b"P2" => true,
            b"P5" => false,
            _ => return None,
        };
        self.rest = start.get(2..)?;
        Some(plain)
    }

    fn header(&mut self, page: usize) -> Result<Header, ReadError> {
        let columns = self.number(page, "width")?;
        let rows = self.number(page, "height")?;
        let maximum = self.number(page, "maximum")?;
        if columns == 0 || rows == 0 {
            return Err(self.malformed(format!("page {page} has no pixels ({columns} × {rows})")));
        }
        if !(1..=65535).contains(&maximum) {
            return Err(self.malformed(format!(
                "page {page} states a maximum of {maximum}; it must be from 1 to 65535"
            )));
        }
        // Exactly one whitespace byte stands between the header and the raster.
        self.rest = self.rest.get(1..).unwrap_or_default();
        Ok(Header { page, columns: columns.into(), rows: rows.into(), maximum })
    }

    /// The next decimal number, past white space and `#` comments.
    fn number(&mut self, page: usize, what: &str) -> Result<u32, ReadError> {
        loop {
            self.rest = self.rest.trim_ascii_start();
            if self.rest.first() != Some(&b'#') {
                break;
            }
            let end = self.rest.iter().position(|byte| matches!(byte, b'\n' | b'\r'));
            self.rest = end.and_then(|end| self.rest.get(end..)).unwrap_or_default();
        }
        let end = self.rest.iter().position(|byte| !byte.is_ascii_digit()).unwrap_or(self.rest.len());
        let (digits, rest) = self.rest.split_at(end);
        self.rest = rest;
        std::str::from_utf8(digits)
            .ok()
            .and_then(|digits| digits.parse().ok())
            .ok_or_else(|| self.malformed(format!("the PGM lacks a readable {what} on page {page}")))
    }

    fn raster(&mut self, header: &Header, wanted: bool) -> Result<Vec<u32>, ReadError> {
        let asked = header.raster_bytes();
        let split = usize::try_from(asked).ok().and_then(|asked| self.rest.split_at_checked(asked));
        let Some((raster, rest)) = split else {
            return Err(self.malformed(format!(
                "page {} should hold {} × {} pixels in {asked} bytes, but only {} bytes follow",
                header.page,
                header.columns,
                header.rows,
                self.rest.len()
            )));
        };
        self.rest = rest;
        Ok(if wanted { samples_of(raster, header.maximum) } else { Vec::new() })
    }

    fn plain_raster(&mut self, header: &Header) -> Result<Vec<u32>, ReadError> {
        let asked = header.rows.saturating_mul(header.columns);
        // A sample takes two bytes at least, except the last: no claim makes us reserve more than that.
        let possible = u64::try_from(self.rest.len()).unwrap_or(u64::MAX) / 2 + 1;
        if asked > possible {
            return Err(self.malformed(format!(
                "the plain PGM should hold {} × {} pixels, more than its bytes can",
                header.columns, header.rows
            )));
        }
        (0..asked).map(|_| self.number(header.page, "pixel")).collect()
    }
}

fn be_pair(pair: &[u8]) -> u32 {
    pair.iter().fold(0, |number, &byte| number << 8 | u32::from(byte))
}
