//! The invented board that ships inside the page, so that trying it needs no file and no network.
//!
//! Two known-good units, one with a hot part, and the board's tables, out of `sample-captures/`.

use crate::intake::Dropped;

macro_rules! files {
    ($($file_name:literal),* $(,)?) => {
        &[$(($file_name, include_bytes!(concat!("../../sample-captures/", $file_name)))),*]
    };
}

/// The files of the sample, as if they had been dropped.
const FILES: &[(&str, &[u8])] = files![
    "good-1.tiff",
    "good-1.tiff.json",
    "good-2.tiff",
    "good-2.tiff.json",
    "faulty-hot.tiff",
    "faulty-hot.tiff.json",
    "placement.csv",
    "limits.csv",
    "netlist.ipc",
    "profile.gbr",
];

/// The files of the invented recording: a board that warms up, and where its parts sit.
const RECORDING: &[(&str, &[u8])] = files!["warm-up.tiff", "warm-up.tiff.json", "placement.csv"];

/// The sample's files.
#[must_use]
pub fn files() -> Vec<Dropped> {
    dropped(FILES)
}

/// The sample recording's files.
#[must_use]
pub fn recording() -> Vec<Dropped> {
    dropped(RECORDING)
}

fn dropped(files: &[(&str, &[u8])]) -> Vec<Dropped> {
    files
        .iter()
        .map(|(file_name, bytes)| Dropped { file_name: (*file_name).to_owned(), bytes: bytes.to_vec() })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::{role_by_name, sort};
    use analysis::session::Role;

    #[test]
    fn the_sample_holds_good_boards_a_unit_and_the_tables_each_with_what_it_needs() {
        let sorted = sort(files());
        assert!(sorted.captures.iter().all(|capture| capture.sidecar.is_some()));
        let roles: Vec<_> =
            sorted.captures.iter().map(|capture| role_by_name(&capture.file.file_name)).collect();
        assert_eq!(roles, [Some(Role::Unit), Some(Role::Baseline), Some(Role::Baseline)]);
        assert_eq!((sorted.tables.len(), sorted.lone_sidecars.len()), (4, 0));
    }
}
