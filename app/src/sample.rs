//! The invented board that ships inside the page, so that trying it needs no file and no network.

use crate::intake::Dropped;

/// The files of the sample, as if they had been dropped.
const FILES: &[(&str, &[u8])] = &[];

/// The sample's files.
#[must_use]
pub fn files() -> Vec<Dropped> {
    FILES
        .iter()
        .map(|(file_name, bytes)| Dropped { file_name: (*file_name).to_owned(), bytes: bytes.to_vec() })
        .collect()
}
