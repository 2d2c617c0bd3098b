//! A browser's file as something to read from and go about in, for a worker: only the pieces asked for are read.

use std::collections::VecDeque;
use std::io::{Error, Read, Result, Seek, SeekFrom};

use js_sys::Uint8Array;
use web_sys::{File, FileReaderSync};

use super::message_of;

/// The least that is fetched at once, bytes: every call into the browser is dear.
const LEAST: u64 = 16 << 10;
/// The most that is fetched ahead of a reader that goes straight on, bytes.
const MOST: u64 = 1 << 20;
/// So many pieces are kept: a reader goes to and fro between a directory and its pixels.
const KEPT: usize = 6;

#[derive(Debug)]
struct Kept {
    start: u64,
    bytes: Vec<u8>,
}

impl Kept {
    fn end(&self) -> u64 {
        self.start + self.bytes.len() as u64
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
}

impl FileStream {
    /// At the file's beginning. Works in a worker only.
    ///
    /// # Errors
    /// What the browser says.
    pub fn new(file: File) -> Result<Self> {
        let reader = FileReaderSync::new().map_err(|error| Error::other(message_of(&error)))?;
        let length = file.size() as u64;
        Ok(Self { file, reader, length, at: 0, kept: VecDeque::new() })
    }

    fn fetch(&self, from: u64, bytes: u64) -> Result<Vec<u8>> {
        let end = from.saturating_add(bytes).min(self.length);
        let piece = self
            .file
            .slice_with_f64_and_f64(from as f64, end as f64)
            .and_then(|slice| self.reader.read_as_array_buffer(&slice));
        let piece = piece.map_err(|error| {
            Error::other(format!("{} (was the file moved, changed or taken away?)", message_of(&error)))
        })?;
        Ok(Uint8Array::new(&piece).to_vec())
    }
}

impl Read for FileStream {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        if self.at >= self.length || buffer.is_empty() {
            return Ok(0);
        }
        let known = self.kept.iter().find(|kept| (kept.start..kept.end()).contains(&self.at));
        if known.is_none() {
            let wanted = buffer.len() as u64;
            if wanted >= MOST {
                let bytes = self.fetch(self.at, wanted)?;
                let count = bytes.len().min(buffer.len());
                buffer[..count].copy_from_slice(&bytes[..count]);
                self.at += count as u64;
                return Ok(count);
            }
            // A reader that goes straight on is given twice as much each time.
            let before = self.kept.iter().find(|kept| kept.end() == self.at);
            let size = before.map_or(LEAST, |kept| (2 * kept.bytes.len() as u64).min(MOST)).max(wanted);
            let bytes = self.fetch(self.at, size)?;
            if self.kept.len() >= KEPT {
                self.kept.pop_front();
            }
            self.kept.push_back(Kept { start: self.at, bytes });
        }
        let Some(kept) = self.kept.iter().find(|kept| (kept.start..kept.end()).contains(&self.at)) else {
            return Ok(0);
        };
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
