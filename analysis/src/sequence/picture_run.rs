//! Binary PGM pictures one after the other in one file: where each lies, damaged ones included.
//!
//! A picture says nothing of the next but by its size. Where no header is found after one, the run is
//! taken up again one picture further if a header of the same size is there: then this header alone is
//! damaged. Else at the next place that has such a header: then what lies between is not to be trusted.
//! Netpbm, *PGM Format Specification*, allows several pictures in a file and says nothing of damage.

use std::io::{Read, Seek, SeekFrom};

use super::frames::{EXPORT_AGAIN, FrameProblem, admit, admit_count};
use crate::capture::ReadError;
use crate::capture::pgm::{PgmRaster, locate_raster};
use crate::frame::{Frame, RawNumber};

/// A header with its comments is shorter than this.
pub(super) const LONGEST_HEADER: u64 = 4096;
/// How much is looked through at once for the next header.
const SEARCHED_AT_ONCE: u64 = 1 << 16;

/// A run of pictures, found but not read.
pub(super) struct PictureRun<R> {
    reader: R,
    /// Each picture's first pixel, or why it cannot be read.
    pictures: Vec<Result<Picture, ReadError>>,
    shape: (usize, usize),
}

struct Picture {
    /// The first byte of its pixels in the file.
    start: u64,
    raster: PgmRaster,
}

impl Picture {
    fn end(&self) -> u64 {
        self.start.saturating_add(self.raster.bytes)
    }
}

/// What begins at a place in the file.
enum Found {
    Picture(Picture),
    /// Nothing but white space up to the end.
    End,
    Other(ReadError),
}

impl<R: Read + Seek> PictureRun<R> {
    /// Finds the pictures of a file, and what is lost of it.
    pub(super) fn find(file_name: &str, mut reader: R) -> Result<(Self, Option<FrameProblem>), ReadError> {
        let end = reader.seek(SeekFrom::End(0)).map_err(|error| unreadable(file_name, &error))?;
        let mut search = Search { file_name, reader: &mut reader, end };
        let (first, beginning) = match search.at(0, 1)? {
            Found::Picture(first) => (admit(file_name, first.raster.rows, first.raster.columns)?, first),
            Found::End => return Err(ReadError::malformed(file_name, "it holds no picture", EXPORT_AGAIN)),
            Found::Other(cause) => return Err(cause),
        };
        let stride = beginning.end();
        let mut at = stride;
        let like_the_first = |picture: &Picture| {
            (picture.raster.rows, picture.raster.columns) == (first.0 as u64, first.1 as u64)
        };
        let mut pictures = vec![Ok(beginning)];
        let mut lost = None;
        while at < end {
            admit_count(file_name, pictures.len())?;
            match search.at(at, pictures.len() + 1)? {
                Found::Picture(picture) => {
                    at = picture.end();
                    pictures.push(Ok(picture));
                }
                Found::End => break,
                Found::Other(cause) => {
                    let next = at.saturating_add(stride);
                    let goes_on = next == end
                        || next < end
                            && matches!(search.at(next, pictures.len() + 2)?, Found::Picture(p) if like_the_first(&p));
                    if goes_on {
                        pictures.push(Err(cause));
                        at = next;
                        continue;
                    }
                    // The picture before may have been cut short, so that the next header lies inside it.
                    let before = pictures.last().and_then(|last| last.as_ref().ok());
                    let from = before.map_or(at, |picture| picture.start);
                    let Some(found) = search.next_header(from, like_the_first)? else {
                        lost = Some(FrameProblem::Lost { frame: pictures.len(), cause });
                        break;
                    };
                    if found < at {
                        let what = format!("it is cut short: the next begins {} bytes too early", at - found);
                        let cut = ReadError::malformed(file_name, what, EXPORT_AGAIN);
                        pictures.pop();
                        pictures.push(Err(cut));
                    } else {
                        pictures.push(Err(cause));
                    }
                    at = found;
                }
            }
        }
        Ok((Self { reader, pictures, shape: first }, lost))
    }

    /// How many pictures there are, damaged ones included.
    pub(super) fn count(&self) -> usize {
        self.pictures.len()
    }

    /// The first picture's rows and columns.
    pub(super) fn shape(&self) -> (usize, usize) {
        self.shape
    }

    /// Reads one picture.
    pub(super) fn read(&mut self, file_name: &str, picture: usize) -> Result<Frame<RawNumber>, ReadError> {
        let malformed = |what: String| ReadError::malformed(file_name, what, EXPORT_AGAIN);
        let picture = match self.pictures.get(picture) {
            Some(Ok(picture)) => picture,
            Some(Err(cause)) => return Err(cause.clone()),
            None => return Err(malformed("it ends before this frame".to_owned())),
        };
        let (rows, columns) = admit(file_name, picture.raster.rows, picture.raster.columns)?;
        let mut bytes = Vec::new();
        self.reader
            .seek(SeekFrom::Start(picture.start))
            .and_then(|_| self.reader.by_ref().take(picture.raster.bytes).read_to_end(&mut bytes))
            .map_err(|error| unreadable(file_name, &error))?;
        if bytes.len() as u64 != picture.raster.bytes {
            return Err(malformed(format!(
                "the frame should hold {} bytes, but the file ends after {}",
                picture.raster.bytes,
                bytes.len()
            )));
        }
        Frame::from_rows(rows, columns, picture.raster.numbers(&bytes))
            .map_err(|error| malformed(error.to_string()))
    }
}

struct Search<'a, R> {
    file_name: &'a str,
    reader: &'a mut R,
    end: u64,
}

impl<R: Read + Seek> Search<'_, R> {
    fn bytes(&mut self, at: u64, most: u64) -> Result<Vec<u8>, ReadError> {
        let mut bytes = Vec::new();
        self.reader
            .seek(SeekFrom::Start(at))
            .and_then(|_| self.reader.by_ref().take(most).read_to_end(&mut bytes))
            .map_err(|error| unreadable(self.file_name, &error))?;
        Ok(bytes)
    }

    /// What begins at `at`, as the picture with this number, from 1.
    fn at(&mut self, at: u64, number: usize) -> Result<Found, ReadError> {
        let start = self.bytes(at, LONGEST_HEADER)?;
        Ok(match locate_raster(self.file_name, number, &start) {
            Ok(Some(raster)) => {
                Found::Picture(Picture { start: at.saturating_add(raster.start as u64), raster })
            }
            Ok(None) if start.iter().all(u8::is_ascii_whitespace) => Found::End,
            Ok(None) => {
                let what = "what follows is no binary PGM picture";
                Found::Other(ReadError::malformed(self.file_name, what, EXPORT_AGAIN))
            }
            Err(cause) => Found::Other(cause),
        })
    }

    /// The first place from `from` on where a header begins that is `like` wanted.
    fn next_header(&mut self, from: u64, like: impl Fn(&Picture) -> bool) -> Result<Option<u64>, ReadError> {
        let mut from = from;
        while from < self.end {
            let bytes = self.bytes(from, SEARCHED_AT_ONCE)?;
            let begins = |pair: &[u8]| pair == b"P5";
            for (offset, _) in bytes.windows(2).enumerate().filter(|(_, pair)| begins(pair)) {
                let place = from + offset as u64;
                if matches!(self.at(place, 1)?, Found::Picture(picture) if like(&picture)) {
                    return Ok(Some(place));
                }
            }
            // A header may begin with the last byte of this piece.
            let step = (bytes.len() as u64).saturating_sub(1);
            if step == 0 {
                break;
            }
            from += step;
        }
        Ok(None)
    }
}

fn unreadable(file_name: &str, error: &std::io::Error) -> ReadError {
    ReadError::malformed(file_name, error.to_string(), EXPORT_AGAIN)
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use crate::sequence::{FrameFile, FrameProblem, FrameSource};

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

    /// What can be read of pictures 0 to 5 whose pixel (0, 0) is 256 times their number.
    fn readable(bytes: Vec<u8>) -> (Vec<Option<f32>>, bool) {
        let mut file = FrameFile::open("run.pgm", Cursor::new(bytes)).unwrap();
        let found = (0..file.count()).map(|frame| file.read(frame).ok().and_then(|pixels| pixels.at(0, 0)));
        (found.collect(), file.lost().is_some())
    }

    #[test]
    fn a_damaged_header_costs_its_own_picture_alone() {
        let size = pgm_of(1).len();
        for (damaged, expected) in [
            (2, [Some(0.0), Some(256.0), None, Some(768.0)]),
            (3, [Some(0.0), Some(256.0), Some(512.0), None]),
        ] {
            let mut bytes = pgm_of(4);
            bytes[damaged * size] = b'X';
            assert_eq!(readable(bytes), (expected.to_vec(), false));
        }
    }

    #[test]
    fn bytes_that_are_missing_or_added_cost_one_picture_and_the_run_goes_on_behind_them() {
        let size = pgm_of(1).len();
        let mut cut = pgm_of(4);
        cut.drain(2 * size - 5..2 * size);
        assert_eq!(readable(cut), (vec![Some(0.0), None, Some(512.0), Some(768.0)], false));
        let mut added = pgm_of(3);
        added.splice(2 * size..2 * size, *b"seven o");
        assert_eq!(readable(added), (vec![Some(0.0), Some(256.0), None, Some(512.0)], false));
    }
}
