//! TIFF: the pages of a capture read from one, and pictures written as one.
//!
//! Classic TIFF 6.0 and BigTIFF, either byte order, strips or tiles; one sample per pixel of 8, 16 or
//! 32 bits, signed or not, or IEEE float of 16, 32 or 64 bits; uncompressed, LZW, Deflate or PackBits.
//! Lossy compression is not read: it changes the numbers.

use std::io::{Cursor, Read, Seek};

use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::encoder::{Compression, DeflateLevel, Predictor, TiffEncoder, colortype};
use tiff::tags::Tag;
use tiff::{ColorType, TiffError, TiffUnsupportedError};

use crate::frame::Frame;

use super::pages::{PageCollector, SampleKind};
use super::read_error::{ReadError, ReadWarning};
use super::read_limits::ReadLimits;

const EXPORT_GREY: &str =
    "Export the temperatures or raw counts as a grey TIFF (16-bit or 32-bit float), not the coloured picture";
const EXPORT_AGAIN: &str = "Copy or export the file again";
const EXPORT_PLAIN: &str =
    "Export it as a grey TIFF of 16 bits or 32-bit float, uncompressed, LZW or Deflate";

/// What [`read_tiff`] learned besides the pages it handed over.
pub(super) struct TiffSummary {
    pub(super) pages: usize,
    pub(super) samples: SampleKind,
    pub(super) warnings: Vec<ReadWarning>,
}

/// Hands the wanted pages to `collector`.
pub(super) fn read_tiff(
    file_name: &str,
    bytes: &[u8],
    limits: ReadLimits,
    collector: &mut PageCollector<'_>,
) -> Result<TiffSummary, ReadError> {
    let explain = |error| explain(file_name, error);
    let mut decoder = Decoder::new(Cursor::new(bytes)).map_err(explain)?.with_limits(buffer_limits(limits));
    let mut summary = TiffSummary { pages: 1, samples: SampleKind::Integer, warnings: Vec::new() };
    let (mut largest, mut unreadable) = (0.0_f64, 0);
    loop {
        if collector.wants(summary.pages) {
            let (samples, magnitude) = take_page(file_name, summary.pages, &mut decoder, collector)?;
            summary.samples = samples;
            largest = largest.max(magnitude);
        }
        let found = loop {
            if !decoder.more_images() {
                break false;
            }
            summary.pages += 1;
            collector.admit_page_count(summary.pages)?;
            match decoder.next_image() {
                Ok(()) => break true,
                Err(error) if collector.wants(summary.pages) => return Err(explain(error)),
                Err(_) => unreadable += 1,
            }
        };
        if !found {
            break;
        }
    }
    if unreadable > 0 {
        summary.warnings.push(ReadWarning::UnreadablePages { pages: unreadable });
    }
    if largest > LARGEST_EXACT {
        summary.warnings.push(ReadWarning::Rounded { largest });
    }
    Ok(summary)
}

/// Up to here an `f32` holds every whole number.
const LARGEST_EXACT: f64 = 16_777_216.0;

pub(crate) fn buffer_limits(limits: ReadLimits) -> Limits {
    let mut buffers = Limits::default();
    // Eight bytes for the widest sample.
    buffers.decoding_buffer_size = usize::try_from(limits.pixels.saturating_mul(8)).unwrap_or(usize::MAX);
    buffers
}

fn take_page(
    file_name: &str,
    page: usize,
    decoder: &mut Decoder<Cursor<&[u8]>>,
    collector: &mut PageCollector<'_>,
) -> Result<(SampleKind, f64), ReadError> {
    let (width, height) = decoder.dimensions().map_err(|error| explain(file_name, error))?;
    collector.admit(page, u64::from(height), u64::from(width))?;
    let decoded = decode_page(file_name, decoder)?;
    collector.take(page, decoded.rows, decoded.columns, decoded.numbers)?;
    Ok((decoded.samples, decoded.largest))
}

/// One page's numbers, row by row, as the file holds them.
pub(crate) struct TiffPage {
    pub(crate) rows: usize,
    pub(crate) columns: usize,
    pub(crate) numbers: Vec<f32>,
    pub(crate) samples: SampleKind,
    largest: f64,
}

/// Decodes the page that `decoder` stands at.
pub(crate) fn decode_page<R: Read + Seek>(
    file_name: &str,
    decoder: &mut Decoder<R>,
) -> Result<TiffPage, ReadError> {
    let explain = |error| explain(file_name, error);
    let (width, height) = decoder.dimensions().map_err(explain)?;
    require_grey(file_name, decoder.colortype().map_err(explain)?)?;
    // The decoder turns such numbers round for display; a measurement wants them as stored.
    if decoder.find_tag_unsigned::<u16>(Tag::PhotometricInterpretation).map_err(explain)? == Some(0) {
        return Err(ReadError::unsupported(
            file_name,
            "its numbers are marked as running from white to black",
            "Export it with zero as black (photometric interpretation 1)",
        ));
    }
    let (samples, numbers, largest) = to_numbers(file_name, decoder.read_image().map_err(explain)?)?;
    let [rows, columns] = [height, width].map(|length| usize::try_from(length).unwrap_or(usize::MAX));
    Ok(TiffPage { rows, columns, numbers, samples, largest })
}

fn require_grey(file_name: &str, color: ColorType) -> Result<(), ReadError> {
    match color {
        ColorType::Gray(8 | 16 | 32 | 64) => Ok(()),
        ColorType::Gray(bits) => Err(ReadError::unsupported(
            file_name,
            format!("it packs each pixel into {bits} bits"),
            EXPORT_PLAIN,
        )),
        ColorType::Multiband { num_samples, .. } => Err(ReadError::unsupported(
            file_name,
            format!("it holds {num_samples} numbers per pixel"),
            "Export one number per pixel, as a grey TIFF",
        )),
        _ => Err(color_picture(file_name)),
    }
}

fn color_picture(file_name: &str) -> ReadError {
    ReadError::unsupported(file_name, "it is a colour picture, and colours hold no temperatures", EXPORT_GREY)
}

#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "pixels are f32; rounding is reported"
)]
fn to_numbers(file_name: &str, samples: DecodingResult) -> Result<(SampleKind, Vec<f32>, f64), ReadError> {
    use SampleKind::{Integer, Real};
    Ok(match samples {
        DecodingResult::U8(v) => (Integer, v.into_iter().map(f32::from).collect(), 0.0),
        DecodingResult::I8(v) => (Integer, v.into_iter().map(f32::from).collect(), 0.0),
        DecodingResult::U16(v) => (Integer, v.into_iter().map(f32::from).collect(), 0.0),
        DecodingResult::I16(v) => (Integer, v.into_iter().map(f32::from).collect(), 0.0),
        DecodingResult::U32(v) => {
            let largest = v.iter().copied().max().map_or(0.0, f64::from);
            (Integer, v.into_iter().map(|n| n as f32).collect(), largest)
        }
        DecodingResult::I32(v) => {
            let largest = v.iter().map(|n| n.unsigned_abs()).max().map_or(0.0, f64::from);
            (Integer, v.into_iter().map(|n| n as f32).collect(), largest)
        }
        DecodingResult::F16(v) => (Real, v.into_iter().map(|n| n.to_f32()).collect(), 0.0),
        DecodingResult::F32(v) => (Real, v, 0.0),
        DecodingResult::F64(v) => (Real, v.into_iter().map(|n| n as f32).collect(), 0.0),
        DecodingResult::U64(_) | DecodingResult::I64(_) => {
            return Err(ReadError::unsupported(file_name, "it holds 64-bit whole numbers", EXPORT_PLAIN));
        }
    })
}

pub(crate) fn explain(file_name: &str, error: TiffError) -> ReadError {
    match error {
        TiffError::LimitsExceeded | TiffError::IntSizeError => ReadError::limit_exceeded(
            file_name,
            "its header asks for more memory than is allowed",
            "Export the capture again, with fewer pixels or tags",
        ),
        TiffError::UnsupportedError(TiffUnsupportedError::InterpretationWithBits(..)) => {
            color_picture(file_name)
        }
        TiffError::UnsupportedError(what) => {
            ReadError::unsupported(file_name, format!("this kind of TIFF is not read ({what})"), EXPORT_PLAIN)
        }
        TiffError::IoError(what) if what.kind() == std::io::ErrorKind::UnexpectedEof => {
            ReadError::malformed(file_name, "the TIFF ends before its pixels do", EXPORT_AGAIN)
        }
        TiffError::IoError(what) => {
            ReadError::malformed(file_name, format!("the TIFF's pixels are damaged ({what})"), EXPORT_AGAIN)
        }
        TiffError::FormatError(what) => {
            ReadError::malformed(file_name, format!("the TIFF is damaged ({what})"), EXPORT_AGAIN)
        }
        TiffError::UsageError(what) => {
            ReadError::malformed(file_name, format!("the TIFF contradicts itself ({what})"), EXPORT_AGAIN)
        }
    }
}

/// A picture that could not be written as a TIFF.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// More rows or columns than a TIFF can state, or than there are numbers.
    #[error("{found} numbers do not make a TIFF of {rows} rows and {columns} columns")]
    Shape {
        /// Rows asked for.
        rows: usize,
        /// Columns asked for.
        columns: usize,
        /// Numbers given.
        found: usize,
    },
    /// The encoder failed.
    #[error("the TIFF cannot be written: {0}")]
    Encoding(#[from] TiffError),
}

/// The picture as the bytes of a TIFF of 32-bit floats, Deflate; invalid pixels stay NaN.
///
/// # Errors
/// [`WriteError`] when the picture is too large for a classic TIFF.
pub fn encode_tiff<Q>(frame: &Frame<Q>) -> Result<Vec<u8>, WriteError> {
    let (rows, columns) = frame.shape();
    encode::<colortype::Gray32Float>(frame.as_slice(), rows, columns, Predictor::None)
}

/// Whole numbers, row by row, as the bytes of a 16-bit TIFF, Deflate.
///
/// # Errors
/// [`WriteError::Shape`] when `numbers` does not fill `rows` × `columns`.
pub fn encode_tiff_u16(numbers: &[u16], rows: usize, columns: usize) -> Result<Vec<u8>, WriteError> {
    encode::<colortype::Gray16>(numbers, rows, columns, Predictor::Horizontal)
}

fn encode<C: colortype::ColorType>(
    numbers: &[C::Inner],
    rows: usize,
    columns: usize,
    predictor: Predictor,
) -> Result<Vec<u8>, WriteError>
where
    [C::Inner]: tiff::encoder::TiffValue,
{
    let found = numbers.len();
    let (Ok(height), Ok(width)) = (u32::try_from(rows), u32::try_from(columns)) else {
        return Err(WriteError::Shape { rows, columns, found });
    };
    if found == 0 || rows.checked_mul(columns) != Some(found) {
        return Err(WriteError::Shape { rows, columns, found });
    }
    let mut file = Cursor::new(Vec::new());
    TiffEncoder::new(&mut file)?
        .with_compression(Compression::Deflate(DeflateLevel::Balanced))
        .with_predictor(predictor)
        .write_image::<C>(width, height, numbers)?;
    Ok(file.into_inner())
}
