//! From a result file back to the session and the captures it was made from.

use serde::{Deserialize, Serialize};

use super::embedded::{BlockError, block, read_block};
use super::{OriginalFile, ResultError};
use crate::content_hash::ContentHash;
use crate::session::{Session, saved};

/// Most bytes that a session may unpack to.
const MOST_SESSION_BYTES: u64 = 64 << 20;
/// Most bytes that all captures together may unpack to: a browser tab holds no more.
const MOST_CAPTURE_BYTES: u64 = 1 << 30;

const SESSION: &str = "boardglow-session";
const CONTENTS: &str = "boardglow-captures";

/// One line of the list of captures inside the file.
#[derive(Serialize, Deserialize)]
struct Entry {
    file_name: String,
    hash: ContentHash,
}

fn block_id(hash: &ContentHash) -> String {
    format!("capture-{hash}")
}

/// A capture as it was loaded when the result was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RestoredCapture {
    /// The name it was loaded under.
    pub file_name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// What [`read_result`] brings back.
#[derive(Debug, Clone, PartialEq)]
pub struct RestoredResult {
    /// The session.
    pub session: Session,
    /// The captures, in the order in which they were embedded.
    pub captures: Vec<RestoredCapture>,
}

/// Why a result file does not lead back to its session.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// Not one of our files.
    #[error("{file_name} is no result file of Boardglow: it holds no session. Load the captures instead")]
    NoResult {
        /// The file.
        file_name: String,
    },
    /// A block is missing, cut or altered.
    #[error("{file_name} is damaged: {what} cannot be read. Ask for the file again, packed as ZIP")]
    Damaged {
        /// The file.
        file_name: String,
        /// What cannot be read.
        what: String,
    },
    /// A block unpacks to more than a page can hold.
    #[error("{file_name} holds more than can be unpacked: {what} exceeds {limit} bytes")]
    TooLarge {
        /// The file.
        file_name: String,
        /// What is too large.
        what: String,
        /// The limit.
        limit: u64,
    },
    /// The session itself cannot be read.
    #[error("{file_name}: {source}")]
    Session {
        /// The file.
        file_name: String,
        /// Why.
        source: saved::SavedError,
    },
}

/// The blocks that [`read_result`] reads: the session, the list of captures, and each capture.
pub(super) fn session_blocks(
    session: &Session,
    originals: &[OriginalFile<'_>],
) -> Result<Vec<maud::Markup>, ResultError> {
    let contents: Vec<Entry> = originals
        .iter()
        .map(|file| Entry { file_name: file.file_name.to_owned(), hash: ContentHash::of(file.bytes) })
        .collect();
    let mut blocks = vec![
        block(SESSION, saved::save(session)?.as_bytes())?,
        block(CONTENTS, &serde_json::to_vec(&contents)?)?,
    ];
    for (entry, file) in contents.iter().zip(originals) {
        blocks.push(block(&block_id(&entry.hash), file.bytes)?);
    }
    Ok(blocks)
}

/// The session and captures inside the result file `html`, as they were when it was written.
///
/// # Errors
/// [`RestoreError`], which names `file_name`, what is wrong and what to do. Each capture is checked
/// against its hash, so none comes back altered.
pub fn read_result(file_name: &str, html: &str) -> Result<RestoredResult, RestoreError> {
    let damaged = |what: &str| RestoreError::Damaged { file_name: file_name.into(), what: what.into() };
    let unpack = |id: &str, what: &str, limit: u64| {
        read_block(html, id, limit).map_err(|error| match error {
            BlockError::Missing | BlockError::Damaged => damaged(what),
            BlockError::TooLarge => {
                RestoreError::TooLarge { file_name: file_name.into(), what: what.into(), limit }
            }
        })
    };

    if read_block(html, SESSION, 0) == Err(BlockError::Missing) {
        return Err(RestoreError::NoResult { file_name: file_name.into() });
    }
    let text = String::from_utf8(unpack(SESSION, "the session", MOST_SESSION_BYTES)?)
        .map_err(|_| damaged("the session"))?;
    let session =
        saved::load(&text).map_err(|source| RestoreError::Session { file_name: file_name.into(), source })?;

    let list = "the list of captures";
    let contents: Vec<Entry> =
        serde_json::from_slice(&unpack(CONTENTS, list, MOST_SESSION_BYTES)?).map_err(|_| damaged(list))?;
    let mut allowed = MOST_CAPTURE_BYTES;
    let mut captures = Vec::with_capacity(contents.len());
    for entry in contents {
        let what = format!("the capture {}", entry.file_name);
        let bytes = unpack(&block_id(&entry.hash), &what, allowed)?;
        if ContentHash::of(&bytes) != entry.hash {
            return Err(damaged(&what));
        }
        allowed -= bytes.len() as u64;
        captures.push(RestoredCapture { file_name: entry.file_name, bytes });
    }
    Ok(RestoredResult { session, captures })
}
