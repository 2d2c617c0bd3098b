//! Whether a file holds several frames, told from a few small pieces of it.
//!
//! A page that only gets pieces of a file on asking must know before it reads gigabytes: this says which
//! piece it wants next. Damage is no matter here; whoever reads the file tells of it.

use crate::capture::pgm::locate_raster;

/// The longest header of a picture that is looked for, bytes.
const HEADER: usize = 4096;
/// After the pixels of a PGM picture there may be this much white space before the next, bytes.
const BETWEEN: usize = 64;

/// A piece of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Piece {
    /// Its first byte, from 0.
    pub at: u64,
    /// How many bytes.
    pub bytes: usize,
}

/// What is known so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Several {
    /// It holds more than one frame.
    Yes,
    /// It holds one, or is no file of frames.
    No,
    /// This piece has to be seen first.
    Look(Piece),
}

/// The search, piece by piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum SeveralFrames {
    /// Nothing has been seen.
    #[default]
    Start,
    /// The count of entries of a TIFF's first directory is wanted.
    Directory(Layout, u64),
    /// Where that directory says the next one is.
    NextDirectory(Layout),
    /// What follows the first PGM picture.
    AfterPicture,
}

/// How a TIFF writes its numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Layout {
    big_endian: bool,
    big_tiff: bool,
}

impl Layout {
    fn number(self, bytes: &[u8], length: usize) -> Option<u64> {
        let bytes = bytes.get(..length)?.iter();
        let join = |sum: u64, byte: &u8| (sum << 8) | u64::from(*byte);
        Some(if self.big_endian { bytes.fold(0, join) } else { bytes.rev().fold(0, join) })
    }

    const fn count_length(self) -> usize {
        if self.big_tiff { 8 } else { 2 }
    }

    const fn offset_length(self) -> usize {
        if self.big_tiff { 8 } else { 4 }
    }

    const fn entry_length(self) -> u64 {
        if self.big_tiff { 20 } else { 12 }
    }
}

impl SeveralFrames {
    /// The piece to begin with.
    pub const FIRST: Piece = Piece { at: 0, bytes: HEADER };

    /// Takes the piece that was asked for last; it is shorter where the file ends.
    pub fn take(&mut self, bytes: &[u8]) -> Several {
        match self.next(bytes) {
            Some(Several::Look(piece)) => Several::Look(piece),
            Some(known) => known,
            None => Several::No,
        }
    }

    fn next(&mut self, bytes: &[u8]) -> Option<Several> {
        let look = |at: u64, bytes: usize| Some(Several::Look(Piece { at, bytes }));
        match *self {
            Self::Start => {
                let big_endian = bytes.starts_with(b"MM");
                if big_endian || bytes.starts_with(b"II") {
                    let plain = Layout { big_endian, big_tiff: false };
                    let layout = Layout { big_tiff: plain.number(bytes.get(2..)?, 2)? == 43, ..plain };
                    let offset = bytes.get(if layout.big_tiff { 8 } else { 4 }..)?;
                    let at = layout.number(offset, layout.offset_length())?;
                    *self = Self::Directory(layout, at);
                    return look(at, layout.count_length());
                }
                let raster = locate_raster("", 1, bytes).ok()??;
                *self = Self::AfterPicture;
                look((raster.start as u64).checked_add(raster.bytes)?, BETWEEN)
            }
            Self::Directory(layout, at) => {
                let entries = layout.number(bytes, layout.count_length())?;
                let length = entries.checked_mul(layout.entry_length())?;
                let next = at.checked_add(layout.count_length() as u64)?.checked_add(length)?;
                *self = Self::NextDirectory(layout);
                look(next, layout.offset_length())
            }
            Self::NextDirectory(layout) => {
                let next = layout.number(bytes, layout.offset_length())?;
                Some(if next == 0 { Several::No } else { Several::Yes })
            }
            Self::AfterPicture => {
                let another = bytes.trim_ascii_start().starts_with(b"P5");
                Some(if another { Several::Yes } else { Several::No })
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Cursor;

    use tiff::encoder::{TiffEncoder, colortype};

    fn answer(file: &[u8]) -> Several {
        let mut search = SeveralFrames::default();
        let mut piece = SeveralFrames::FIRST;
        loop {
            let from = usize::try_from(piece.at).unwrap().min(file.len());
            let end = (from + piece.bytes).min(file.len());
            match search.take(&file[from..end]) {
                Several::Look(next) => piece = next,
                known => return known,
            }
        }
    }

    fn tiff(pages: u16, big: bool) -> Vec<u8> {
        let mut file = Cursor::new(Vec::new());
        if big {
            let mut encoder = TiffEncoder::new_big(&mut file).unwrap();
            (0..pages).for_each(|n| encoder.write_image::<colortype::Gray16>(2, 2, &[n; 4]).unwrap());
        } else {
            let mut encoder = TiffEncoder::new(&mut file).unwrap();
            (0..pages).for_each(|n| encoder.write_image::<colortype::Gray16>(2, 2, &[n; 4]).unwrap());
        }
        file.into_inner()
    }

    #[test]
    fn a_second_page_is_seen_in_both_kinds_of_tiff() {
        for big in [false, true] {
            assert_eq!(answer(&tiff(1, big)), Several::No);
            assert_eq!(answer(&tiff(2, big)), Several::Yes);
        }
    }

    #[test]
    fn big_endian_files_of_an_independent_library_are_told_too() {
        let read = |name: &str| {
            let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../tests/data/");
            std::fs::read(format!("{folder}{name}")).unwrap()
        };
        assert_eq!(answer(&read("sequences/bigtiff_big.tiff")), Several::Yes);
        assert_eq!(answer(&read("formats/u16_four_pages.tiff")), Several::Yes);
        assert_eq!(answer(&read("formats/u16_bigtiff_big_endian.tiff")), Several::No);
    }

    #[test]
    fn pictures_one_after_the_other_are_several() {
        let one = b"P5 2 1 255 ab".as_slice();
        assert_eq!(answer(one), Several::No);
        assert_eq!(answer(&[one, b"\n", one].concat()), Several::Yes);
        assert_eq!(answer(&[one, b"\ntrailing"].concat()), Several::No);
    }

    #[test]
    fn what_is_no_picture_or_ends_early_is_not_several() {
        for file in [b"".as_slice(), b"21.5,22.0\n", b"II*\0", b"II*\0\xff\xff\xff\xff", b"{}"] {
            assert_eq!(answer(file), Several::No);
        }
    }
}
