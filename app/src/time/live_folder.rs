//! A folder that is looked into again and again: captures that appear in it are taken in as they come.

use std::collections::BTreeMap;
use std::time::Duration;

use leptos::prelude::*;
use leptos::task::spawn_local;
use web_sys::File;

use super::desk::Desk;
use crate::intake;
use crate::notice::Notice;
use crate::platform::folder::{Folder, can_be_chosen};
use crate::wording;

/// How often the folder is looked into.
const PAUSE: Duration = Duration::from_millis(1500);

/// What a file was like when it was seen: its size and when it was written.
type Print = (u64, u64);

/// What was seen in a folder so far.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Seen {
    known: BTreeMap<String, Print>,
    /// Seen once: a file that is still being written looks different the next time.
    fresh: BTreeMap<String, Print>,
}

impl Seen {
    /// Takes a look at the folder in and yields the names of the files that are new or changed and have not changed
    /// since the last look. A capture waits for nothing: its sidecar, where it comes later, describes it anew.
    pub fn look(&mut self, files: &[(String, Print)]) -> Vec<String> {
        let mut ready = Vec::new();
        let mut fresh = BTreeMap::new();
        for (name, print) in files {
            if self.known.get(name) == Some(print) {
                continue;
            }
            if self.fresh.get(name) == Some(print) {
                self.known.insert(name.clone(), *print);
                ready.push(name.clone());
            } else {
                fresh.insert(name.clone(), *print);
            }
        }
        self.fresh = fresh;
        ready
    }

    /// What is there now is not taken in.
    pub fn pass_over(&mut self, files: &[(String, Print)]) {
        self.known.extend(files.iter().cloned());
    }
}

fn print_of(file: &File) -> (String, Print) {
    (file.name(), (file.size() as u64, file.last_modified() as u64))
}

/// The files that the page takes: others in the folder are none of its business.
fn is_taken(name: &str) -> bool {
    let name = name.to_ascii_lowercase();
    [".tif", ".tiff", ".btf", ".tf8", ".pgm", ".csv", ".json"].iter().any(|ending| name.ends_with(ending))
}

/// Watching a folder, in step 2.
#[component]
pub fn LiveFolder() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let watched = RwSignal::new(None::<String>);
    let taken = RwSignal::new(0_usize);
    let running = StoredValue::new_local(None::<IntervalHandle>);
    let stop = move || {
        if let Some(timer) = running.try_update_value(Option::take).flatten() {
            timer.clear();
        }
        watched.set(None);
    };
    on_cleanup(stop);
    let watch = move |_| {
        spawn_local(async move {
            match Folder::choose().await {
                Ok(None) => {}
                Ok(Some(folder)) => {
                    stop();
                    taken.set(0);
                    begin(desk, folder, watched, taken, running).await;
                }
                Err(message) => desk.store.tell(
                    Notice::trouble(
                        "The folder was not opened.",
                        "Choose another, or drop the captures here.",
                    )
                    .because(message),
                ),
            }
        });
    };
    let words = move || match watched.get() {
        Some(name) => format!("Watching {name}: {} taken in so far.", wording::count(taken.get(), "file")),
        None => "Captures that appear in a folder are taken in by themselves.".to_owned(),
    };
    if !can_be_chosen() {
        return view! {
            <p class="remark">
                "This browser cannot watch a folder: drop new captures here as they come, as often as you like."
            </p>
        }
        .into_any();
    }
    view! {
        <div class="row" data-testid="live-folder">
            <button hidden=move || watched.with(Option::is_some) on:click=watch>"Watch a folder"</button>
            <button hidden=move || watched.with(Option::is_none) on:click=move |_| stop()>"Stop watching"</button>
            <span class="remark" role="status">{words}</span>
        </div>
    }
    .into_any()
}

/// Begins to watch: what is there already is passed over.
async fn begin(
    desk: Desk,
    folder: Folder,
    watched: RwSignal<Option<String>>,
    taken: RwSignal<usize>,
    running: StoredValue<Option<IntervalHandle>, LocalStorage>,
) {
    let mut seen = Seen::default();
    if let Ok(files) = folder.files().await {
        seen.pass_over(&files.iter().map(print_of).collect::<Vec<_>>());
    }
    let seen = StoredValue::new_local(seen);
    let looking = StoredValue::new_local(false);
    watched.set(Some(folder.name()));
    let look = move || {
        if looking.try_update_value(|looking| std::mem::replace(looking, true)) != Some(false) {
            return;
        }
        let folder = folder.clone();
        spawn_local(async move {
            match folder.files().await {
                Ok(mut files) => {
                    files.retain(|file| is_taken(&file.name()));
                    let prints: Vec<_> = files.iter().map(print_of).collect();
                    let ready = seen.try_update_value(|seen| seen.look(&prints)).unwrap_or_default();
                    let new: Vec<File> = with_sidecars(files, &ready);
                    if !new.is_empty() {
                        taken.update(|taken| *taken += ready.len());
                        desk.take_files(new);
                    }
                }
                Err(message) => {
                    if let Some(timer) = running.try_update_value(Option::take).flatten() {
                        timer.clear();
                    }
                    watched.set(None);
                    desk.store.tell(
                        Notice::trouble("The watched folder can no longer be read.", "Choose it again.")
                            .because(message),
                    );
                }
            }
            looking.try_update_value(|looking| *looking = false);
        });
    };
    running.set_value(set_interval_with_handle(look, PAUSE).ok());
}

/// The files that are ready, and with each capture the sidecar that lies beside it.
fn with_sidecars(files: Vec<File>, ready: &[String]) -> Vec<File> {
    files
        .into_iter()
        .filter(|file| {
            let name = file.name();
            ready.contains(&name) || ready.iter().any(|capture| intake::belongs(&name, capture))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_taken_once_it_no_longer_grows_and_only_once() {
        let mut seen = Seen::default();
        let file = |size| vec![("unit-8.tiff".to_owned(), (size, 5))];
        seen.pass_over(&[("old.tiff".to_owned(), (1, 1))]);
        assert!(seen.look(&file(100)).is_empty());
        assert!(seen.look(&file(200)).is_empty(), "it still grows");
        assert_eq!(seen.look(&file(200)), ["unit-8.tiff"]);
        assert!(seen.look(&file(200)).is_empty());
        assert!(seen.look(&[("old.tiff".to_owned(), (1, 1))]).is_empty());
    }

    #[test]
    fn a_file_that_is_written_anew_is_taken_again() {
        let mut seen = Seen::default();
        let file = |written| vec![("a.pgm".to_owned(), (9, written))];
        seen.look(&file(1));
        assert_eq!(seen.look(&file(1)).len(), 1);
        seen.look(&file(2));
        assert_eq!(seen.look(&file(2)).len(), 1);
    }
}
