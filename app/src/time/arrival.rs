//! Which of the dropped files are recordings: those of many frames go to the desk, the rest to the session.

use analysis::capture::{PageChoice, parse_sidecar};
use analysis::sequence::{Several, SeveralFrames};
use leptos::task::spawn_local;
use web_sys::File;

use super::desk::Desk;
use crate::compute::protocol::Sidecar;
use crate::intake;
use crate::notice::Notice;
use crate::platform::files;
use crate::sample;

/// A second page is found within so many looks at a file.
const LOOKS: usize = 4;

impl Desk {
    /// Takes dropped or chosen files: a file of many frames is opened as a recording and never read as a whole;
    /// all others go the way of [`Store::take_files`](crate::store::Store::take_files).
    ///
    /// A file whose sidecar names the page that is meant, and no times, is a capture for all its pages.
    pub fn take_files(self, dropped: Vec<File>) {
        spawn_local(async move {
            let mut recordings = Vec::new();
            let mut rest = Vec::new();
            for file in &dropped {
                if holds_several(file).await {
                    let sidecar = sidecar_of(file, &dropped).await;
                    if !names_a_page(sidecar.as_ref()) {
                        recordings.push((file.clone(), sidecar));
                        continue;
                    }
                }
                rest.push(file.clone());
            }
            let used: Vec<String> = recordings
                .iter()
                .filter_map(|(_, sidecar)| sidecar.as_ref().map(|sidecar| sidecar.file_name.clone()))
                .collect();
            rest.retain(|file| !used.contains(&file.name()));
            let mut recordings = recordings.into_iter();
            if let Some((file, sidecar)) = recordings.next() {
                self.open(vec![file], sidecar);
            }
            for (file, _) in recordings {
                self.store.tell(Notice::warning(
                    format!("{} was not opened: one recording is looked at at a time.", file.name()),
                    "Drop it by itself.",
                ));
            }
            if !rest.is_empty() {
                self.store.take_files(rest);
            }
        });
    }

    /// Opens the invented recording that ships inside the page, in a new session; undo brings the present one back.
    pub fn load_sample(self) {
        let made: Result<Vec<File>, String> =
            sample::recording().iter().map(|file| files::file_of(&file.file_name, &file.bytes)).collect();
        match made {
            Ok(made) => {
                self.store.start_afresh();
                self.take_files(made);
            }
            Err(message) => self.store.tell(
                Notice::trouble("The sample recording was not opened.", "Load the page again.")
                    .because(message),
            ),
        }
    }

    /// Opens files of one frame each, numbered in their names, as one recording.
    pub fn open_numbered(self, dropped: Vec<File>) {
        spawn_local(async move {
            let (texts, frames): (Vec<File>, Vec<File>) =
                dropped.into_iter().partition(|file| file.name().to_ascii_lowercase().ends_with(".json"));
            let sidecar = match texts.first() {
                Some(file) => read_sidecar(file).await,
                None => None,
            };
            if frames.is_empty() {
                let what = "No frames were chosen.";
                self.store.tell(Notice::warning(what, "Choose all files of the recording together."));
            } else {
                self.open(frames, sidecar);
            }
        });
    }
}

async fn holds_several(file: &File) -> bool {
    let mut search = SeveralFrames::default();
    let mut piece = SeveralFrames::FIRST;
    for _ in 0..LOOKS {
        // A file that cannot be read is told of by whoever reads it as a whole.
        let Ok(bytes) = files::read_piece(file, piece.at, piece.bytes).await else { return false };
        match search.take(&bytes) {
            Several::Yes => return true,
            Several::No => return false,
            Several::Look(next) => piece = next,
        }
    }
    false
}

async fn sidecar_of(file: &File, dropped: &[File]) -> Option<Sidecar> {
    let name = file.name();
    let beside = dropped.iter().find(|other| intake::belongs(&other.name(), &name))?;
    read_sidecar(beside).await
}

async fn read_sidecar(file: &File) -> Option<Sidecar> {
    let bytes = files::read(file).await.ok()?;
    let text = String::from_utf8_lossy(&bytes).trim_start_matches('\u{FEFF}').to_owned();
    Some(Sidecar { file_name: file.name(), text })
}

fn names_a_page(sidecar: Option<&Sidecar>) -> bool {
    let Some(sidecar) = sidecar else { return false };
    parse_sidecar(&sidecar.file_name, &sidecar.text)
        .is_ok_and(|(metadata, _)| metadata.page != PageChoice::First && metadata.frame_times.is_none())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sidecar(fields: &str) -> Option<Sidecar> {
        let text = format!(r#"{{"boardglow_sidecar": 1{fields}}}"#);
        Some(Sidecar { file_name: "run.json".to_owned(), text })
    }

    #[test]
    fn a_burst_whose_mean_is_meant_stays_a_capture_and_what_has_times_is_a_recording() {
        assert!(names_a_page(sidecar(r#", "page": "mean""#).as_ref()));
        assert!(names_a_page(sidecar(r#", "page": 3"#).as_ref()));
        assert!(!names_a_page(sidecar(r#", "page": "mean", "frame_interval_s": 0.5"#).as_ref()));
        assert!(!names_a_page(sidecar("").as_ref()));
        assert!(!names_a_page(None));
    }
}
