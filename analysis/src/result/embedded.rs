//! Blocks of bytes inside an HTML file: gzip (RFC 1952) in base64 (RFC 4648) in a script element
//! that no browser runs.
//!
//! Base64 has no `<`, so no content can end its own block. Reading looks for the exact opening tag,
//! which escaped text can never hold.

use std::io::{Read, Write};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::read::GzDecoder;
use flate2::write::GzEncoder;
use maud::{Markup, PreEscaped};

/// Why a block cannot be read back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum BlockError {
    /// No such block, or its end is missing.
    Missing,
    /// Not base64, or not gzip.
    Damaged,
    /// Unpacks to more than was allowed.
    TooLarge,
}

fn opening_tag(id: &str) -> String {
    format!("<script type=\"application/octet-stream\" id=\"{id}\">")
}

/// The block `id` that holds `bytes`. The id is one of this module's own: letters, digits, hyphens.
pub(super) fn block(id: &str, bytes: &[u8]) -> std::io::Result<Markup> {
    let mut encoder = GzEncoder::new(Vec::new(), Compression::default());
    encoder.write_all(bytes)?;
    let packed = STANDARD.encode(encoder.finish()?);
    Ok(PreEscaped(format!("{}{packed}</script>\n", opening_tag(id))))
}

/// The bytes of the block `id`, at most `most` of them.
pub(super) fn read_block(html: &str, id: &str, most: u64) -> Result<Vec<u8>, BlockError> {
    let (_, rest) = html.split_once(&opening_tag(id)).ok_or(BlockError::Missing)?;
    let (packed, _) = rest.split_once("</script>").ok_or(BlockError::Missing)?;
    // A mail program or editor may have wrapped the line.
    let packed: String = packed.split_ascii_whitespace().collect();
    let zipped = STANDARD.decode(packed).map_err(|_| BlockError::Damaged)?;
    let mut bytes = Vec::new();
    GzDecoder::new(zipped.as_slice())
        .take(most.saturating_add(1))
        .read_to_end(&mut bytes)
        .map_err(|_| BlockError::Damaged)?;
    if bytes.len() as u64 > most { Err(BlockError::TooLarge) } else { Ok(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_comes_back_even_when_its_lines_were_wrapped() {
        let html = block("x", b"<script></script>\0\xff").unwrap().into_string();
        assert_eq!(read_block(&html, "x", 100).unwrap(), b"<script></script>\0\xff");
        let (head, tail) = html.split_at(html.len() - 20);
        assert_eq!(read_block(&format!("{head}\r\n{tail}"), "x", 100).unwrap(), b"<script></script>\0\xff");
    }

    #[test]
    fn a_small_block_that_unpacks_to_a_huge_one_is_refused() {
        let html = block("x", &vec![0; 1_000_000]).unwrap().into_string();
        assert!(html.len() < 5_000);
        assert_eq!(read_block(&html, "x", 999_999), Err(BlockError::TooLarge));
        assert_eq!(read_block(&html, "x", 1_000_000).unwrap().len(), 1_000_000);
    }

    #[test]
    fn a_cut_or_altered_block_is_damaged() {
        let html = block("x", b"four score").unwrap().into_string();
        assert_eq!(read_block(&html[..html.len() - 12], "x", 100), Err(BlockError::Missing));
        assert_eq!(read_block(&html.replace("</script>", "!</script>"), "x", 100), Err(BlockError::Damaged));
        assert_eq!(read_block(&html, "y", 100), Err(BlockError::Missing));
    }
}
