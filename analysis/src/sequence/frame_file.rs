//! A file of many frames, read where it lies: it need not fit into memory.
//!
//! [`FrameFile`] reads the pages of a TIFF or BigTIFF, or a run of binary PGM pictures, through any
//! `Read + Seek`: it walks the pages once without decoding them, remembers where each lies, and then goes
//! straight to the one asked for.
//!
//! Opening reads a few hundred bytes from each page in many small pieces; a reader for which every
//! call is dear should keep blocks of some kilobytes.

use std::io::{Read, Seek, SeekFrom};

use tiff::decoder::Decoder;

use super::frames::{EXPORT_AGAIN, FrameProblem, FrameSource, admit, admit_count, of_one_size};
use super::picture_run::{LONGEST_HEADER, PictureRun};
use crate::capture::ReadError;
use crate::capture::pages::SampleKind;
use crate::capture::pixels::{Format, detect};
use crate::capture::read_limits::ReadLimits;
use crate::capture::tiff_file::{buffer_limits, decode_page, explain};
use crate::frame::{Frame, FrameError, RawNumber};

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
    Pgm(PictureRun<R>),
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
        reader.by_ref().take(LONGEST_HEADER).read_to_end(&mut start).map_err(unreadable)?;
        let rewound = reader.seek(SeekFrom::Start(0)).map(|_| ());
        rewound.map_err(unreadable)?;
        match detect(file_name, &start)? {
            Format::Tiff => Self::open_tiff(file_name, reader),
            Format::Pgm => Self::open_pictures(file_name, reader),
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

    fn open_pictures(file_name: &str, reader: R) -> Result<Self, ReadError> {
        let (run, lost) = PictureRun::find(file_name, reader)?;
        let (shape, samples) = (Some(run.shape()), Some(SampleKind::Integer));
        Ok(Self { file_name: file_name.to_owned(), pages: Pages::Pgm(run), shape, samples, lost })
    }

    fn decode(&mut self, frame: usize) -> Result<(SampleKind, Frame<RawNumber>), ReadError> {
        let file_name = self.file_name.as_str();
        match &mut self.pages {
            Pages::Tiff { decoder, .. } => {
                let explain = |error| explain(file_name, error);
                decoder.seek_to_image(frame).map_err(explain)?;
                let (width, height) = decoder.dimensions().map_err(explain)?;
                admit(file_name, u64::from(height), u64::from(width))?;
                let page = decode_page(file_name, decoder)?;
                let pixels = Frame::from_rows(page.rows, page.columns, page.numbers);
                let malformed =
                    |error: FrameError| ReadError::malformed(file_name, error.to_string(), EXPORT_AGAIN);
                Ok((page.samples, pixels.map_err(malformed)?))
            }
            Pages::Pgm(run) => Ok((SampleKind::Integer, run.read(file_name, frame)?)),
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
            Pages::Pgm(run) => run.count(),
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
}
