//! Keeps the session in the browser's storage, and brings it back when the page is loaded again.

use std::collections::BTreeSet;
use std::rc::Rc;
use std::sync::Arc;

use analysis::content_hash::ContentHash;
use analysis::session::{History, Session, saved};
use gloo_timers::callback::Timeout;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::Store;
use super::comparing::pixels_of;
use super::engine::Original;
use super::state::SavedState;
use crate::notice::Notice;
use crate::platform::storage::Storage;
use crate::platform::tab_lock::{Claim, claim};
use crate::platform::{last_resort, when_hidden};

/// Milliseconds without a change before the session is kept.
const PAUSE: u32 = 400;

/// The storage and what is known of its content.
#[derive(Debug, Default)]
pub(super) struct Keeper {
    storage: Option<Rc<Storage>>,
    /// Captures that are in storage.
    kept: BTreeSet<ContentHash>,
    pause: Option<Timeout>,
    /// Whether the session is being written right now.
    writing: bool,
}

impl Store {
    /// Brings back the session that is kept, and from then on keeps every change.
    pub(super) fn keep_session(self) {
        Effect::new(move |_| {
            let session = self.session.get();
            last_resort::keep_at_hand(session);
            self.keep_soon();
        });
        spawn_local(async move {
            match claim().await {
                Claim::Ours => self.open_storage().await,
                Claim::Theirs => self.saved.set(SavedState::AnotherTab),
                Claim::Unknown => self.saved.set(SavedState::Unavailable),
            }
            self.restored.set(true);
        });
    }

    async fn open_storage(self) {
        let storage = match Storage::open().await {
            Ok(storage) => Rc::new(storage),
            Err(error) => {
                self.saved.set(SavedState::Unavailable);
                self.tell(
                    Notice::information(
                        "This browser keeps nothing for this page: save your result before you leave.",
                    )
                    .because(error.to_string()),
                );
                return;
            }
        };
        if let Err(what) = self.bring_back(&storage).await {
            // What could not be read may still be there: nothing is written over it.
            self.saved.set(SavedState::Unavailable);
            self.tell(not_brought_back(what));
            return;
        }
        self.engine.update_value(|engine| engine.keeper.storage = Some(storage));
        self.keep_soon();
    }

    async fn bring_back(self, storage: &Storage) -> Result<(), String> {
        let Some(text) = storage.session().await.map_err(|error| error.to_string())? else {
            return Ok(());
        };
        let session = match saved::load(&text) {
            Ok(session) => session,
            Err(error) => {
                storage.set_aside(&text).await.map_err(|error| error.to_string())?;
                self.tell(not_brought_back(error.to_string()));
                return Ok(());
            }
        };
        for hash in pixels_of(&session) {
            let bytes = storage.capture(&hash).await.map_err(|error| error.to_string())?;
            let file_name = session.file_name_of(&hash).to_owned();
            if let Some(bytes) = bytes {
                self.engine.update_value(|engine| {
                    engine.keeper.kept.insert(hash.clone());
                    engine.originals.insert(hash, Original { file_name, bytes: Rc::from(bytes) });
                });
            }
        }
        self.history.update(|history| {
            let meanwhile = history.present().clone();
            *history = History::starting_at(session);
            // Whoever was quicker than the storage goes on with what they did; undo leads to what was kept.
            if meanwhile != Session::default() {
                history.replace(meanwhile);
            }
        });
        Ok(())
    }

    /// Keeps the session after a pause.
    fn keep_soon(self) {
        if self.engine.with_value(|engine| engine.keeper.storage.is_none()) {
            return;
        }
        self.saved.set(SavedState::Saving);
        let pause = Timeout::new(PAUSE, move || self.keep_now());
        self.engine.update_value(|engine| engine.keeper.pause = Some(pause));
    }

    /// A page that is hidden may never be shown again: what waits to be kept is kept at once.
    pub(super) fn keep_when_hidden(self) {
        when_hidden(move || {
            if self.engine.with_value(|engine| engine.keeper.pause.is_some()) {
                self.keep_now();
            }
        });
    }

    fn keep_now(self) {
        let session = self.session.get_untracked();
        let due = self.engine.try_update_value(|engine| {
            engine.keeper.pause.take().map(Timeout::forget);
            if engine.keeper.writing {
                return None;
            }
            engine.keeper.writing = true;
            let needed = pixels_of(&session);
            let new: Vec<_> = needed
                .difference(&engine.keeper.kept)
                .filter_map(|hash| Some((hash.clone(), Rc::clone(&engine.originals.get(hash)?.bytes))))
                .collect();
            let gone: Vec<_> = engine.keeper.kept.difference(&needed).cloned().collect();
            Some((Rc::clone(engine.keeper.storage.as_ref()?), new, gone))
        });
        let Some(Some((storage, new, gone))) = due else { return };
        spawn_local(async move {
            let written = match saved::save(&session) {
                Ok(text) => storage.keep(&text, &new, &gone).await.map_err(|error| error.to_string()),
                Err(error) => Err(error.to_string()),
            };
            self.engine.update_value(|engine| {
                engine.keeper.writing = false;
                if written.is_ok() {
                    engine.keeper.kept.extend(new.into_iter().map(|(hash, _)| hash));
                    engine.keeper.kept.retain(|hash| !gone.contains(hash));
                }
            });
            self.on_kept(&session, written);
        });
    }

    fn on_kept(self, session: &Arc<Session>, written: Result<(), String>) {
        match written {
            Ok(()) if self.session.get_untracked() == *session => self.saved.set(SavedState::Saved),
            Ok(()) => self.keep_soon(),
            Err(message) => {
                if self.saved.get_untracked() != SavedState::Unavailable {
                    self.tell(
                        Notice::warning(
                            "This browser could not keep the session.",
                            "Save your result before you leave the page; free some disk space for this browser.",
                        )
                        .because(message),
                    );
                }
                self.saved.set(SavedState::Unavailable);
            }
        }
    }
}

fn not_brought_back(what: String) -> Notice {
    Notice::trouble(
        "The session of the last visit could not be brought back.",
        "Load its captures or its result file again.",
    )
    .because(what)
}
