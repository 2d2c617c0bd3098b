//! A capture's pixels from the bytes of its file, whose kind is told by content and never by name.
//!
//! Read are TIFF, PGM and matrices of numbers as text. What the numbers mean is no matter here: see
//! [`meaning`](super::meaning).

use super::matrix_csv::read_matrix_csv;
use super::metadata::{CaptureMetadata, PageChoice};
use super::pages::{Decoded, PageCollector, SampleKind};
use super::pgm::read_pgm;
use super::read_error::ReadError;
use super::read_limits::ReadLimits;
use super::tiff_file::read_tiff;

const EXPORT_READABLE: &str =
    "Export the temperatures or raw counts as TIFF (16-bit or 32-bit float), PGM or a matrix in CSV";

/// The raw numbers of the chosen page, `(rows, columns)`, within the default [`ReadLimits`].
///
/// `file_name` appears in errors only. Numbers that are not finite are invalid pixels.
///
/// # Errors
/// [`ReadError`], sorted by whose fault it is; its text names the file and what to do.
pub fn read_pixels(file_name: &str, bytes: &[u8], page: PageChoice) -> Result<Decoded, ReadError> {
    read(file_name, bytes, page, None)
}

/// As [`read_pixels`], with the page that the metadata chooses; a pixel that is saturated in any
/// chosen page is invalid, so that the mean of a burst never hides it.
///
/// # Errors
/// As [`read_pixels`].
pub fn read_capture(file_name: &str, bytes: &[u8], metadata: &CaptureMetadata) -> Result<Decoded, ReadError> {
    read(file_name, bytes, metadata.page, metadata.saturated_at)
}

fn read(
    file_name: &str,
    bytes: &[u8],
    page: PageChoice,
    saturated_at: Option<f64>,
) -> Result<Decoded, ReadError> {
    let limits = ReadLimits::default();
    let mut collector = PageCollector::new(file_name, page, saturated_at, limits);
    match detect(file_name, bytes)? {
        Format::Tiff => {
            let summary = read_tiff(file_name, bytes, limits, &mut collector)?;
            collector.finish(summary.pages, summary.samples, summary.warnings)
        }
        Format::Pgm => {
            let (pages, warnings) = read_pgm(file_name, bytes, &mut collector)?;
            collector.finish(pages, SampleKind::Integer, warnings)
        }
        Format::Text => {
            // Headers may hold a degree sign in some other encoding; the numbers are ASCII anyway.
            let text = String::from_utf8_lossy(bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes));
            if !collector.wants(1) {
                return collector.finish(1, SampleKind::Real, Vec::new());
            }
            let (samples, warnings) = read_matrix_csv(file_name, &text, &mut collector)?;
            collector.finish(1, samples, warnings)
        }
    }
}

/// The kinds of file that hold pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Tiff,
    Pgm,
    Text,
}

/// Beginnings of files that people are likely to try, and what to call them.
const KNOWN_OTHERS: [(&[u8], &str); 11] = [
    (b"\x89PNG", "a PNG picture"),
    (b"\xFF\xD8\xFF", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"RIFF", "a RIFF file"),
    (b"PK\x03\x04", "a ZIP archive or a spreadsheet"),
    (b"\x1F\x8B", "a gzip archive"),
    (b"%PDF", "a PDF document"),
    (b"\x93NUMPY", "a NumPy array"),
    (b"SIMPLE  =", "a FITS file"),
    (b"\x89HDF", "an HDF5 file"),
];

/// Which kind these first bytes begin.
pub(crate) fn detect(file_name: &str, bytes: &[u8]) -> Result<Format, ReadError> {
    let unsupported = |what: &str, remedy| Err(ReadError::unsupported(file_name, what, remedy));
    if bytes.trim_ascii().is_empty() {
        return Err(ReadError::malformed(file_name, "the file is empty", "Copy or export it again"));
    }
    if [b"II*\0", b"II+\0", b"MM\0*", b"MM\0+"].iter().any(|magic| bytes.starts_with(*magic)) {
        return Ok(Format::Tiff);
    }
    if let [b'P', digit @ b'1'..=b'7', next, ..] = bytes
        && (next.is_ascii_whitespace() || *next == b'#')
    {
        return match digit {
            b'2' | b'5' => Ok(Format::Pgm),
            b'3' | b'6' => {
                unsupported("it is a colour picture (PPM), and colours hold no temperatures", EXPORT_READABLE)
            }
            _ => unsupported("this kind of Netpbm picture is not read", EXPORT_READABLE),
        };
    }
    if let Some((_, what)) = KNOWN_OTHERS.iter().find(|(magic, _)| bytes.starts_with(magic)) {
        return unsupported(&format!("it is {what}, which is not read"), EXPORT_READABLE);
    }
    if bytes.starts_with(b"\xFF\xFE") || bytes.starts_with(b"\xFE\xFF") {
        return unsupported("its text is UTF-16", "Save it as UTF-8 or plain ASCII text");
    }
    // Text has no control characters but tab and line ends, and a matrix has digits.
    let is_control = |byte: &u8| byte.is_ascii_control() && !matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C);
    if bytes.iter().any(is_control) {
        return unsupported("its kind of file is not known here", EXPORT_READABLE);
    }
    Ok(Format::Text)
}
