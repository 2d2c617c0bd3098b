//! A browser's file as something to read from and go about in, for a worker: only the pieces asked for are read.

use std::collections::VecDeque;
use std::io::{Error, Read, Result, Seek, SeekFrom};

use js_sys::{Array, Uint8Array};
use web_sys::{Blob, File, FileReaderSync};

use super::message_of;

/// The least that is fetched at once, bytes: every call into the browser is dear.
const LEAST: u64 = 16 << 10;
/// The most that is fetched ahead of a reader that goes straight on, bytes.
const MOST: u64 = 1 << 19;
/// A reader that goes straight on is given so many times more each time.
const GROWTH: u64 = 8;
/// So many pieces are kept: a reader goes to and fro between a directory and its pixels.
const KEPT: usize = 6;
/// A reader that goes on in equal strides, as from page to page, is given so many pieces at once…
const STRIDES: u64 = 256;
/// …of so many bytes, which a page's directory fits into.
const STRIDE_PIECE: u64 = 4 << 10;

#[derive(Debug)]
struct Kept {
    start: u64,
    bytes: Vec<u8>,
}

impl Kept {
    fn end(&self) -> u64 {
        self.start + self.bytes.len() as u64
    }

    fn holds(&self, at: u64) -> bool {
        (self.start..self.end()).contains(&at)
    }
}

/// A file in pieces.
#[derive(Debug)]
pub struct FileStream {
    file: File,
    reader: FileReaderSync,
    length: u64,
    at: u64,
    /// The last fetched at the end.
    kept: VecDeque<Kept>,
    /// Where it was fetched last, and how far from the fetch before.
    last_fetch: (u64, i64),
}

impl FileStream {
    /// At the file's beginning. Works in a worker only.
    ///
    /// # Errors
    /// What the browser says.
    pub fn new(file: File) -> Result<Self> {
        let reader = FileReaderSync::new().map_err(|error| Error::other(message_of(&error)))?;
        let length = file.size() as u64;
        Ok(Self { file, reader, length, at: 0, kept: VecDeque::new(), last_fetch: (0, 0) })
    }

    /// Brings what the reader wants next into `kept`.
    fn fetch(&mut self, wanted: u64) -> Result<()> {
        let from = self.at;
        let stride = from as i64 - self.last_fetch.0 as i64;
        let strides = stride == self.last_fetch.1 && stride > LEAST as i64 && wanted <= STRIDE_PIECE;
        self.last_fetch = (from, stride);
        if strides {
            return self.fetch_strides(from, stride.unsigned_abs());
        }
        let before = self.kept.iter().find(|kept| kept.end() == from);
        let size = before.map_or(LEAST, |kept| (GROWTH * kept.bytes.len() as u64).min(MOST));
        let end = from.saturating_add(size.max(wanted)).min(self.length);
        let piece = self.slice(from, end)?;
        let bytes = self.content(&piece)?;
        self.keep(KEPT, Kept { start: from, bytes });
        Ok(())
    }

    /// Many small pieces in one call, from places where the reader is likely to come by.
    fn fetch_strides(&mut self, from: u64, stride: u64) -> Result<()> {
        let starts = (0..STRIDES).map(|n| from + n * stride).take_while(|start| *start < self.length);
        let ranges: Vec<(u64, u64)> =
            starts.map(|start| (start, (start + STRIDE_PIECE).min(self.length))).collect();
        let pieces = Array::new();
        for (start, end) in &ranges {
            let piece = self.slice(*start, *end)?;
            pieces.push(piece.as_ref());
        }
        let joined =
            Blob::new_with_blob_sequence(&pieces).map_err(|error| Error::other(message_of(&error)))?;
        let bytes = self.content(&joined)?;
        let mut rest = bytes.as_slice();
        for (start, end) in ranges {
            let Some((piece, after)) = rest.split_at_checked((end - start) as usize) else { break };
            self.keep(STRIDES as usize, Kept { start, bytes: piece.to_vec() });
            rest = after;
        }
        Ok(())
    }

    fn keep(&mut self, most: usize, piece: Kept) {
        while self.kept.len() >= most {
            self.kept.pop_front();
        }
        self.kept.push_back(piece);
    }

    fn slice(&self, from: u64, end: u64) -> Result<Blob> {
        let slice = self.file.slice_with_f64_and_f64(from as f64, end as f64);
        slice.map_err(|error| Error::other(message_of(&error)))
    }

    fn content(&self, blob: &Blob) -> Result<Vec<u8>> {
        let buffer = self.reader.read_as_array_buffer(blob).map_err(|error| {
            Error::other(format!("{} (was the file moved, changed or taken away?)", message_of(&error)))
        })?;
        Ok(Uint8Array::new(&buffer).to_vec())
    }
}

impl Read for FileStream {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        if self.at >= self.length {
            // Read to its end, as a file of one frame is: hundreds of those must not all be kept.
            self.kept.clear();
            return Ok(0);
        }
        if !self.kept.iter().any(|kept| kept.holds(self.at)) {
            self.fetch(buffer.len() as u64)?;
        }
        let Some(kept) = self.kept.iter().find(|kept| kept.holds(self.at)) else { return Ok(0) };
        let from = (self.at - kept.start) as usize;
        let count = buffer.len().min(kept.bytes.len() - from);
        buffer[..count].copy_from_slice(&kept.bytes[from..from + count]);
        self.at += count as u64;
        Ok(count)
    }
}

impl Seek for FileStream {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        let at = match to {
            SeekFrom::Start(at) => Some(at),
            SeekFrom::End(away) => self.length.checked_add_signed(away),
            SeekFrom::Current(away) => self.at.checked_add_signed(away),
        };
        self.at = at.ok_or_else(|| Error::other("a place before the file's beginning"))?;
        Ok(self.at)
    }
}
