//! Frames of a sequence, any of them at any time, from files that need not fit into memory.
//!
//! [`FrameFile`] reads the pages of a TIFF or BigTIFF, or of a file of binary PGM pictures one after
//! the other, through any `Read + Seek`: it walks the pages once without decoding them, remembers
//! where each lies, and then goes straight to the one asked for. [`FrameSeries`] reads numbered files
//! of one frame each. A frame that cannot be read is a [`FrameProblem`], and the next one can be read
//! all the same.
//!
//! Opening reads a few hundred bytes from each page in many small pieces; a reader for which every
//! call is dear should keep blocks of some kilobytes.

use std::io::{Read, Seek, SeekFrom};

use tiff::decoder::Decoder;

use crate::capture::pages::SampleKind;
use crate::capture::pgm::{PgmRaster, locate_raster};
use crate::capture::pixels::{Format, detect};
use crate::capture::read_limits::ReadLimits;
use crate::capture::tiff_file::{buffer_limits, decode_page, explain};
use crate::capture::{PageChoice, ReadError, read_pixels};
use crate::frame::{Frame, RawNumber};

/// More frames than this are refused: an hour at 60 frames a second is fewer.
const MOST_FRAMES: usize = 1 << 18;
/// A PGM header with its comments is shorter than this.
const LONGEST_PGM_HEADER: u64 = 4096;

const EXPORT_AGAIN: &str = "Copy or export the file again";
const SPLIT: &str = "Split the recording into several files";

/// One frame that a sequence lacks, and why. Frames are counted from 0 in code and from 1 in texts.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FrameProblem {
    /// The frame is there but cannot be read.
    #[error("frame {}: {cause}", frame + 1)]
    Unreadable {
        /// Which, from 0.
        frame: usize,
        /// Why.
        cause: ReadError,
    },
    /// The frame has another size than the sequence.
    #[error("frame {} has {} × {} pixels, the sequence {} × {}", frame + 1, found.1, found.0, expected.1, expected.0)]
    OtherSize {
        /// Which, from 0.
        frame: usize,
        /// The sequence's rows and columns.
        expected: (usize, usize),
        /// This frame's rows and columns.
        found: (usize, usize),
    },
    /// The numbering of the files leaves it out.
    #[error("frame {} is missing: no file has number {number}", frame + 1)]
    Dropped {
        /// Which, from 0.
        frame: usize,
        /// The number that no file has.
        number: u64,
    },
    /// Nobody said when it was taken.
    #[error("frame {} has no time: fewer times are stated than there are frames", frame + 1)]
    Untimed {
        /// Which, from 0.
        frame: usize,
    },
    /// The sequence ends before it.
    #[error("there is no frame {}: the sequence has {frames}", frame + 1)]
    BeyondTheEnd {
        /// Which, from 0.
        frame: usize,
        /// How many there are.
        frames: usize,
    },
    /// The file says that more frames follow, but not where they are.
    #[error("only the first {frame} frames can be found: {cause}")]
    Lost {
        /// The first that is lost, from 0.
        frame: usize,
        /// Why.
        cause: ReadError,
    },
}

/// Frames by index. Every frame that is read has the same shape.
pub trait FrameSource {
    /// How many frames there are, unreadable and dropped ones included.
    fn count(&self) -> usize;

    /// The frame with this index, from 0.
    ///
    /// # Errors
    /// [`FrameProblem`], after which other frames can be read all the same.
    fn read(&mut self, frame: usize) -> Result<Frame<RawNumber>, FrameProblem>;

    /// How the file writes its numbers; `None` until a frame has been read.
    fn samples(&self) -> Option<SampleKind>;

    /// Frames known to be lost for good, of which [`count`](Self::count) knows nothing.
    fn lost(&self) -> Option<&FrameProblem> {
        None
    }
}

/// A file of many frames: TIFF, BigTIFF, or binary PGM pictures one after the other.
pub struct FrameFile<R: Read + Seek> {
    file_name: String,
    pages: Pages<R>,
    shape: Option<(usize, usize)>,
    samples: Option<SampleKind>,
    lost: Option<FrameProblem>,
}

enum Pages<R: Read + Seek> {
    /// The decoder keeps the offsets of the pages it has come past.
    Tiff {
        decoder: Box<Decoder<R>>,
        count: usize,
    },
    Pgm {
        reader: R,
        rasters: Vec<(u64, PgmRaster)>,
    },
}

impl<R: Read + Seek> FrameFile<R> {
    /// Finds the frames of a file; decodes none. `file_name` appears in errors only.
    ///
    /// # Errors
    /// [`ReadError`] when the file is of another kind, holds too much, or has no beginning that can be read.
    pub fn open(file_name: &str, mut reader: R) -> Result<Self, ReadError> {
        let mut start = Vec::new();
        let unreadable =
            |error: std::io::Error| ReadError::malformed(file_name, error.to_string(), EXPORT_AGAIN);
        reader.by_ref().take(LONGEST_PGM_HEADER).read_to_end(&mut start).map_err(unreadable)?;
        let rewound = reader.seek(SeekFrom::Start(0)).map(|_| ());
        rewound.map_err(unreadable)?;
        match detect(file_name, &start)? {
            Format::Tiff => Self::open_tiff(file_name, reader),
            Format::Pgm => Self::open_pgm(file_name, reader),
            Format::Text => Err(ReadError::unsupported(
                file_name,
                "a text file holds one frame",
                "Choose all files of the sequence together, or export it as a TIFF of many pages",
            )),
        }
    }

    fn open_tiff(file_name: &str, reader: R) -> Result<Self, ReadError> {
        let explain = |error| explain(file_name, error);
        let limits = buffer_limits(ReadLimits::default());
        let mut decoder = Decoder::new(reader).map_err(explain)?.with_limits(limits);
        let (width, height) = decoder.dimensions().map_err(explain)?;
        let shape = admit(file_name, u64::from(height), u64::from(width))?;
        let (mut count, mut lost) = (1, None);
        while decoder.more_images() {
            admit_count(file_name, count)?;
            let before = decoder.ifd_pointer();
            if let Err(error) = decoder.next_image()
                && decoder.ifd_pointer() == before
            {
                // The directory itself is damaged, and with it the way to the pages behind it.
                lost = Some(FrameProblem::Lost { frame: count, cause: explain(error) });
                break;
            }
            count += 1;
        }
        let pages = Pages::Tiff { decoder: Box::new(decoder), count };
        Ok(Self { file_name: file_name.to_owned(), pages, shape: Some(shape), samples: None, lost })
    }

    fn open_pgm(file_name: &str, mut reader: R) -> Result<Self, ReadError> {
        let failed = |error: std::io::Error| ReadError::malformed(file_name, error.to_string(), EXPORT_AGAIN);
        let end = reader.seek(SeekFrom::End(0)).map_err(failed)?;
        let (mut rasters, mut lost, mut at) = (Vec::<(u64, PgmRaster)>::new(), None, 0);
        let mut header = Vec::new();
        while at < end {
            admit_count(file_name, rasters.len())?;
            header.clear();
            reader.seek(SeekFrom::Start(at)).map_err(failed)?;
            reader.by_ref().take(LONGEST_PGM_HEADER).read_to_end(&mut header).map_err(failed)?;
            match locate_raster(file_name, rasters.len() + 1, &header) {
                Ok(Some(raster)) => {
                    let start = at.saturating_add(raster.start as u64);
                    at = start.saturating_add(raster.bytes);
                    rasters.push((start, raster));
                }
                Ok(None) if header.iter().all(u8::is_ascii_whitespace) => break,
                found => {
                    let what = "what follows is no binary PGM picture";
                    let cause = found.err();
                    let cause = cause.unwrap_or_else(|| ReadError::malformed(file_name, what, EXPORT_AGAIN));
                    if rasters.is_empty() {
                        return Err(cause);
                    }
                    lost = Some(FrameProblem::Lost { frame: rasters.len(), cause });
                    break;
                }
            }
        }
        let Some((_, first)) = rasters.first() else {
            return Err(ReadError::malformed(file_name, "it holds no picture", EXPORT_AGAIN));
        };
        let shape = Some(admit(file_name, first.rows, first.columns)?);
        let samples = Some(SampleKind::Integer);
        let pages = Pages::Pgm { reader, rasters };
        Ok(Self { file_name: file_name.to_owned(), pages, shape, samples, lost })
    }

    fn decode(&mut self, frame: usize) -> Result<(SampleKind, Frame<RawNumber>), ReadError> {
        let file_name = self.file_name.as_str();
        let malformed = |what: String| ReadError::malformed(file_name, what, EXPORT_AGAIN);
        match &mut self.pages {
            Pages::Tiff { decoder, .. } => {
                let explain = |error| explain(file_name, error);
                decoder.seek_to_image(frame).map_err(explain)?;
                let (width, height) = decoder.dimensions().map_err(explain)?;
                admit(file_name, u64::from(height), u64::from(width))?;
                let page = decode_page(file_name, decoder)?;
                let pixels = Frame::from_rows(page.rows, page.columns, page.numbers);
                Ok((page.samples, pixels.map_err(|error| malformed(error.to_string()))?))
            }
            Pages::Pgm { reader, rasters } => {
                let Some((start, raster)) = rasters.get(frame) else {
                    return Err(malformed("it ends before this frame".to_owned()));
                };
                let (rows, columns) = admit(file_name, raster.rows, raster.columns)?;
                let mut bytes = Vec::new();
                let read = reader
                    .seek(SeekFrom::Start(*start))
                    .and_then(|_| reader.by_ref().take(raster.bytes).read_to_end(&mut bytes));
                let found = read.map_err(|error| malformed(error.to_string()))?;
                if found as u64 != raster.bytes {
                    return Err(malformed(format!(
                        "the frame should hold {} bytes, but the file ends after {found}",
                        raster.bytes
                    )));
                }
                let pixels = Frame::from_rows(rows, columns, raster.numbers(&bytes));
                Ok((SampleKind::Integer, pixels.map_err(|error| malformed(error.to_string()))?))
            }
        }
    }
}

impl<R: Read + Seek> std::fmt::Debug for FrameFile<R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "FrameFile({}, {} frames of {:?})", self.file_name, self.count(), self.shape)
    }
}

impl<R: Read + Seek> FrameSource for FrameFile<R> {
    fn count(&self) -> usize {
        match &self.pages {
            Pages::Tiff { count, .. } => *count,
            Pages::Pgm { rasters, .. } => rasters.len(),
        }
    }

    fn read(&mut self, frame: usize) -> Result<Frame<RawNumber>, FrameProblem> {
        let frames = self.count();
        if frame >= frames {
            return Err(FrameProblem::BeyondTheEnd { frame, frames });
        }
        let decoded = self.decode(frame);
        let (samples, pixels) = decoded.map_err(|cause| FrameProblem::Unreadable { frame, cause })?;
        self.samples = Some(samples);
        of_one_size(&mut self.shape, frame, pixels)
    }

    fn samples(&self) -> Option<SampleKind> {
        self.samples
    }

    fn lost(&self) -> Option<&FrameProblem> {
        self.lost.as_ref()
    }
}

/// Numbered files of one frame each. A number that no file has is a dropped frame.
pub struct FrameSeries<F> {
    /// For each frame its number and the index of its file, where there is one.
    frames: Vec<(u64, Option<usize>)>,
    names: Vec<String>,
    read_bytes: F,
    shape: Option<(usize, usize)>,
    samples: Option<SampleKind>,
}

impl<F: FnMut(usize) -> std::io::Result<Vec<u8>>> FrameSeries<F> {
    /// Orders the files by the last number in each name, in steps of the greatest common divisor of
    /// the differences. Where names have no number or share one, their order in the alphabet counts.
    ///
    /// `read_bytes` yields the content of the file with this index in `names`.
    ///
    /// # Errors
    /// [`ReadError`] when there is no file, or the numbers would leave more gaps than a sequence may have frames.
    pub fn new(names: Vec<String>, read_bytes: F) -> Result<Self, ReadError> {
        let Some(first_name) = names.first() else {
            return Err(ReadError::malformed("the sequence", "it has no files", "Choose its files again"));
        };
        admit_count(first_name, names.len().saturating_sub(1))?;
        let mut order: Vec<(Option<u64>, usize)> =
            names.iter().enumerate().map(|(index, name)| (last_number(name), index)).collect();
        order.sort_by(|a, b| a.0.cmp(&b.0).then_with(|| names[a.1].cmp(&names[b.1])));
        let numbers: Option<Vec<u64>> = order.iter().map(|(number, _)| *number).collect();
        let numbers = numbers.filter(|numbers| numbers.windows(2).all(|pair| pair[0] < pair[1]));
        let frames = match numbers {
            Some(numbers) => {
                let step = numbers.windows(2).map(|pair| pair[1] - pair[0]).fold(0, greatest_common_divisor);
                let step = step.max(1);
                let (first, last) = (numbers[0], numbers[numbers.len() - 1]);
                let count = usize::try_from((last - first) / step).unwrap_or(usize::MAX);
                admit_count(first_name, count)?;
                let mut files = order.iter().peekable();
                (0..=count as u64)
                    .map(|place| {
                        let number = first + place * step;
                        let file = files.next_if(|(found, _)| *found == Some(number));
                        (number, file.map(|(_, index)| *index))
                    })
                    .collect()
            }
            None => {
                order.sort_by(|a, b| names[a.1].cmp(&names[b.1]));
                order.iter().zip(0..).map(|((_, index), place)| (place, Some(*index))).collect()
            }
        };
        Ok(Self { frames, names, read_bytes, shape: None, samples: None })
    }
}

impl<F> std::fmt::Debug for FrameSeries<F> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "FrameSeries({} frames, {} files)", self.frames.len(), self.names.len())
    }
}

impl<F: FnMut(usize) -> std::io::Result<Vec<u8>>> FrameSource for FrameSeries<F> {
    fn count(&self) -> usize {
        self.frames.len()
    }

    fn read(&mut self, frame: usize) -> Result<Frame<RawNumber>, FrameProblem> {
        let frames = self.frames.len();
        let Some(&(number, file)) = self.frames.get(frame) else {
            return Err(FrameProblem::BeyondTheEnd { frame, frames });
        };
        let Some((file, name)) = file.and_then(|file| Some((file, self.names.get(file)?))) else {
            return Err(FrameProblem::Dropped { frame, number });
        };
        let bytes = (self.read_bytes)(file)
            .map_err(|error| ReadError::malformed(name, error.to_string(), "Choose the file again"));
        let decoded = bytes.and_then(|bytes| read_pixels(name, &bytes, PageChoice::First));
        let decoded = decoded.map_err(|cause| FrameProblem::Unreadable { frame, cause })?;
        self.samples = Some(decoded.samples);
        of_one_size(&mut self.shape, frame, decoded.pixels)
    }

    fn samples(&self) -> Option<SampleKind> {
        self.samples
    }
}

fn of_one_size(
    shape: &mut Option<(usize, usize)>,
    frame: usize,
    pixels: Frame<RawNumber>,
) -> Result<Frame<RawNumber>, FrameProblem> {
    let (expected, found) = (*shape.get_or_insert(pixels.shape()), pixels.shape());
    if expected == found { Ok(pixels) } else { Err(FrameProblem::OtherSize { frame, expected, found }) }
}

/// Checks a frame's size before anybody sets memory aside for it.
fn admit(file_name: &str, rows: u64, columns: u64) -> Result<(usize, usize), ReadError> {
    let (pixels, allowed) = (rows.saturating_mul(columns), ReadLimits::default().pixels);
    if pixels == 0 || pixels > allowed {
        let what = format!("a frame claims {columns} × {rows} pixels; from 1 to {allowed} are allowed");
        return Err(ReadError::limit_exceeded(file_name, what, "Crop the recording, or export it again"));
    }
    // Within the limit both fit.
    Ok((rows as usize, columns as usize))
}

fn admit_count(file_name: &str, before: usize) -> Result<(), ReadError> {
    if before < MOST_FRAMES {
        return Ok(());
    }
    let what = format!("the sequence has more than the {MOST_FRAMES} frames allowed");
    Err(ReadError::limit_exceeded(file_name, what, SPLIT))
}

/// The last run of digits in a name, its extension left out.
fn last_number(name: &str) -> Option<u64> {
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    let end = stem.rfind(|letter: char| letter.is_ascii_digit())? + 1;
    let start = stem[..end].rfind(|letter: char| !letter.is_ascii_digit());
    let start = start.map_or(0, |at| at + stem[at..].chars().next().map_or(1, char::len_utf8));
    stem[start..end].parse().ok()
}

fn greatest_common_divisor(a: u64, b: u64) -> u64 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    use tiff::encoder::{TiffEncoder, colortype};

    fn tiff_of(count: u16, big: bool) -> Vec<u8> {
        let mut file = Cursor::new(Vec::new());
        let page = |number: u16| -> Vec<u16> { (0..12).map(|pixel| 100 * number + pixel).collect() };
        if big {
            let mut encoder = TiffEncoder::new_big(&mut file).unwrap();
            (0..count).for_each(|n| encoder.write_image::<colortype::Gray16>(4, 3, &page(n)).unwrap());
        } else {
            let mut encoder = TiffEncoder::new(&mut file).unwrap();
            (0..count).for_each(|n| encoder.write_image::<colortype::Gray16>(4, 3, &page(n)).unwrap());
        }
        file.into_inner()
    }

    fn pgm_of(count: u8) -> Vec<u8> {
        (0..count)
            .flat_map(|number| {
                let mut page = b"P5 # made up\n4 3 1023\n".to_vec();
                page.extend((0..12_u8).flat_map(|pixel| [number, pixel]));
                page
            })
            .collect()
    }

    #[test]
    fn any_page_of_a_tiff_or_bigtiff_is_read_in_any_order() {
        for big in [false, true] {
            let mut file = FrameFile::open("run.tiff", Cursor::new(tiff_of(30, big))).unwrap();
            assert_eq!(file.count(), 30);
            for frame in [29, 0, 17, 3, 3] {
                let pixels = file.read(frame).unwrap();
                assert_eq!(pixels.shape(), (3, 4));
                assert_eq!(pixels.at(2, 3), Some((100 * frame + 11) as f32));
            }
            assert_eq!(file.read(30), Err(FrameProblem::BeyondTheEnd { frame: 30, frames: 30 }));
        }
    }

    #[test]
    fn pictures_one_after_the_other_are_read_in_any_order_and_a_cut_one_is_reported() {
        let mut bytes = pgm_of(3);
        bytes.truncate(bytes.len() - 1);
        let mut file = FrameFile::open("run.pgm", Cursor::new(bytes)).unwrap();
        assert_eq!(file.count(), 3);
        assert!(matches!(file.read(2), Err(FrameProblem::Unreadable { frame: 2, .. })));
        assert_eq!(file.read(1).unwrap().at(2, 3), Some(256.0 + 11.0));
        assert_eq!(file.lost(), None);
    }

    #[test]
    fn what_follows_a_picture_and_is_none_is_told() {
        let mut bytes = pgm_of(2);
        bytes.extend(b"\n\nnonsense");
        let file = FrameFile::open("run.pgm", Cursor::new(bytes)).unwrap();
        assert_eq!(file.count(), 2);
        assert!(file.lost().unwrap().to_string().contains("first 2 frames"), "{:?}", file.lost());
    }

    #[test]
    fn a_damaged_page_does_not_keep_the_others_from_being_read() {
        let mut bytes = tiff_of(5, false);
        // The third page's directory: give its width tag (256) an impossible field type.
        let offsets = directory_offsets(&bytes);
        let third = offsets[2];
        let entries = usize::from(u16::from_le_bytes([bytes[third], bytes[third + 1]]));
        let width = (0..entries).map(|n| third + 2 + 12 * n).find(|at| bytes[*at..*at + 2] == [0, 1]);
        bytes[width.unwrap() + 2] = 99;
        let mut file = FrameFile::open("run.tiff", Cursor::new(bytes)).unwrap();
        assert_eq!(file.count(), 5);
        assert!(matches!(file.read(2), Err(FrameProblem::Unreadable { frame: 2, .. })));
        assert_eq!(file.read(4).unwrap().at(0, 0), Some(400.0));
    }

    #[test]
    fn a_chain_that_leads_out_of_the_file_keeps_what_came_before() {
        let mut bytes = tiff_of(5, false);
        let third = directory_offsets(&bytes)[2];
        let entries = usize::from(u16::from_le_bytes([bytes[third], bytes[third + 1]]));
        let next = third + 2 + 12 * entries;
        bytes[next..next + 4].copy_from_slice(&0x7fff_fff0_u32.to_le_bytes());
        let mut file = FrameFile::open("run.tiff", Cursor::new(bytes)).unwrap();
        assert_eq!(file.count(), 3);
        assert!(matches!(file.lost(), Some(FrameProblem::Lost { frame: 3, .. })));
        assert_eq!(file.read(2).unwrap().at(0, 0), Some(200.0));
    }

    fn directory_offsets(bytes: &[u8]) -> Vec<usize> {
        let word = |at: usize| u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        let (mut offsets, mut at) = (Vec::new(), word(4));
        while at != 0 {
            offsets.push(at);
            let entries = usize::from(u16::from_le_bytes([bytes[at], bytes[at + 1]]));
            at = word(at + 2 + 12 * entries);
        }
        offsets
    }

    #[test]
    fn numbered_files_are_put_in_order_and_a_gap_is_a_dropped_frame() {
        let names = ["run2_0110.pgm", "run2_0090.pgm", "run2_0100.pgm", "run2_0140.pgm", "run2_0130.pgm"];
        let contents = [2_u8, 0, 1, 5, 4];
        let page = |number: u8| [b"P5 1 1 255 ".as_slice(), &[number]].concat();
        let mut series =
            FrameSeries::new(names.map(str::to_owned).to_vec(), |file| Ok(page(contents[file]))).unwrap();
        assert_eq!(series.count(), 6);
        for frame in [0, 1, 2, 4, 5] {
            assert_eq!(series.read(frame).unwrap().at(0, 0), Some(frame as f32));
        }
        assert_eq!(series.read(3), Err(FrameProblem::Dropped { frame: 3, number: 120 }));
    }

    #[test]
    fn a_file_that_cannot_be_fetched_or_has_another_size_is_reported() {
        let names = ["a1.pgm", "a2.pgm", "a3.pgm"].map(str::to_owned).to_vec();
        let mut series = FrameSeries::new(names, |file| match file {
            0 => Ok(b"P5 1 1 255 x".to_vec()),
            1 => Ok(b"P5 2 1 255 xy".to_vec()),
            _ => Err(std::io::Error::other("gone")),
        })
        .unwrap();
        assert!(series.read(0).is_ok());
        assert!(matches!(series.read(1), Err(FrameProblem::OtherSize { found: (1, 2), .. })));
        assert!(series.read(2).unwrap_err().to_string().contains("gone"));
    }
}
