//! Keeps pictures and comparison in step with the session.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use analysis::content_hash::ContentHash;
use analysis::session::{CaptureRecord, Role, Session};
use gloo_timers::callback::Timeout;
use leptos::prelude::*;

use super::engine::Purpose;
use super::state::{ComparisonState, Progress};
use super::twins::TwinState;
use super::worker_desk::Lost;
use super::{Known, Store};
use crate::compute::protocol::{Job, JobId};
use crate::compute::relevance::{for_comparison, for_pixels};
use crate::notice::Notice;

/// Milliseconds without a change before a comparison begins, so that a drag asks for one and not for fifty.
const PAUSE: u32 = 200;

/// The captures whose pixels a session needs, its emissivity picture among them.
pub(super) fn pixels_of(session: &Session) -> BTreeSet<ContentHash> {
    session.files()
}

/// What is missing before a comparison can be asked for.
#[derive(Debug, PartialEq, Eq)]
enum Missing {
    /// Nothing.
    Nothing,
    /// Something that only the person can add.
    Person(String),
    /// Pixels that are on their way.
    Pixels,
}

impl Store {
    /// Sets up the reactions to the session's changes.
    pub(super) fn keep_in_step(self) {
        Effect::new(move |_| {
            let session = self.session.get();
            self.known.track();
            self.ask_for_pictures(&session);
        });
        let relevant = Memo::new(move |_| self.session.with(|session| for_comparison(session)));
        Effect::new(move |_| {
            // Read, not merely tracked: a memo that nobody reads never learns of changes.
            relevant.with(|_| ());
            self.known.track();
            self.compare_when_ready();
        });
    }

    /// Asks for the pixels and pictures that the session needs and that are not there as it needs them.
    fn ask_for_pictures(self, session: &Session) {
        let known = self.known.get_untracked();
        self.engine.update_value(|engine| {
            for hash in pixels_of(session) {
                if !known.contains_key(&hash) && engine.reloading.insert(hash.clone()) {
                    if let Some((job, buffers)) = engine.reload_job(&hash, session) {
                        engine.ask(Purpose::Reload { hash }, job, buffers);
                    } else {
                        engine.reloading.remove(&hash);
                    }
                }
            }
            for record in &session.captures {
                let wanted = (for_pixels(&record.metadata), session.band);
                let unasked = engine.asked.get(&record.hash) != Some(&wanted);
                if record.metadata.quantity.is_some() && known.contains_key(&record.hash) && unasked {
                    let job = Job::Apparent {
                        hash: record.hash.clone(),
                        metadata: Box::new(record.metadata.clone()),
                        band: session.band,
                    };
                    engine.asked.insert(record.hash.clone(), wanted);
                    engine.ask(Purpose::Apparent { hash: record.hash.clone() }, job, Vec::new());
                }
            }
        });
        self.forget_meaningless_pictures(session);
        self.ask_for_emissivity_picture(session, &known);
        self.pump();
    }

    fn ask_for_emissivity_picture(self, session: &Session, known: &BTreeMap<ContentHash, Known>) {
        let there =
            self.emissivity_picture.with_untracked(|there| there.as_ref().map(|(hash, _)| hash.clone()));
        match &session.surface.map {
            None if there.is_some() => self.emissivity_picture.set(None),
            Some(hash) if there.as_ref() != Some(hash) && known.contains_key(hash) => {
                self.engine.update_value(|engine| {
                    engine.ask(
                        Purpose::EmissivityPicture,
                        Job::EmissivityPicture { hash: hash.clone() },
                        Vec::new(),
                    );
                });
            }
            _ => {}
        }
    }

    /// A capture whose numbers no longer mean anything has no apparent temperature.
    fn forget_meaningless_pictures(self, session: &Session) {
        for record in session.captures.iter().filter(|record| record.metadata.quantity.is_none()) {
            if self.frames.with_untracked(|frames| frames.contains_key(&record.hash)) {
                self.frames.update(|frames| drop(frames.remove(&record.hash)));
            }
            self.engine.update_value(|engine| drop(engine.asked.remove(&record.hash)));
        }
    }

    /// Begins a comparison after a pause, or says what is missing.
    pub(super) fn compare_when_ready(self) {
        let session = self.session.get_untracked();
        let missing = self.missing(&session);
        let stopped = self.engine.with_value(|engine| engine.stopped.clone());
        if missing == Missing::Nothing
            && stopped.is_some_and(|stopped| for_comparison(&stopped) == for_comparison(&session))
        {
            return;
        }
        self.engine.update_value(|engine| {
            engine.pause = None;
            engine.stopped = None;
            engine.client.forget_comparisons();
        });
        match missing {
            Missing::Person(what) => self.comparison.set(ComparisonState::NotReady(what)),
            Missing::Pixels => {
                self.comparison
                    .update(|state| *state = state.working(Progress::beginning("Reading captures")));
            }
            Missing::Nothing => {
                self.comparison.update(|state| *state = state.working(Progress::beginning("Comparing")));
                let pause = Timeout::new(PAUSE, move || self.compare_now());
                self.engine.update_value(|engine| engine.pause = Some(pause));
            }
        }
    }

    fn compare_now(self) {
        let session = self.session.get_untracked();
        self.engine.update_value(|engine| {
            // The pause that called this is over and must not be cancelled from within.
            engine.pause.take().map(Timeout::forget);
            let job = Job::Compare { session: Box::new(Session::clone(&session)) };
            engine.ask(Purpose::Compare { session }, job, Vec::new());
        });
        self.pump();
    }

    fn missing(self, session: &Session) -> Missing {
        let in_use = |record: &&CaptureRecord| matches!(record.role, Role::Baseline | Role::Unit);
        if session.is_without_good_boards() {
            return Missing::Person("Load a known-good capture and name it as baseline.".to_owned());
        }
        if session.unit().is_none() {
            return Missing::Person("Load a capture of the unit under test and name it as unit.".to_owned());
        }
        if let Some(record) =
            session.captures.iter().filter(in_use).find(|record| record.metadata.quantity.is_none())
        {
            return Missing::Person(format!("Say what the numbers of {} mean.", record.file_name));
        }
        // Pictures that were worked out once and are not used may be gone: nothing waits for them.
        let used = session.captures.iter().filter(in_use).map(|record| &record.hash);
        let used = used.chain(&session.surface.map).chain(&session.surface.map_uncertainty);
        let lacking = self
            .known
            .with_untracked(|known| used.into_iter().find(|hash| !known.contains_key(hash)).cloned());
        match lacking {
            None => Missing::Nothing,
            Some(hash) if self.engine.with_value(|engine| engine.originals.contains_key(&hash)) => {
                Missing::Pixels
            }
            Some(hash) => {
                let name = session
                    .capture(&hash)
                    .map_or("the emissivity picture", |record| record.file_name.as_str())
                    .to_owned();
                Missing::Person(format!("The pixels of {name} are not loaded: load that file again."))
            }
        }
    }

    /// Makes the comparison again, for instance after it was stopped or failed.
    pub fn compare_again(self) {
        self.engine.update_value(|engine| engine.stopped = None);
        self.compare_when_ready();
    }

    /// Stops what the worker is doing, at once. The comparison is begun again by the next change or by
    /// [`compare_again`](Self::compare_again).
    pub fn cancel(self) {
        if self.engine.with_value(|engine| engine.client.is_idle() && engine.pause.is_none()) {
            return;
        }
        let session = self.session.get_untracked();
        let comparing = self.engine.try_update_value(|engine| {
            let comparing = engine.pause.is_some() || engine.client.is_comparing();
            if comparing {
                engine.pause = None;
                engine.client.forget_comparisons();
                engine.stopped = Some(Arc::clone(&session));
            }
            comparing
        });
        if let Some((id, purpose)) = self.replace_worker(Lost::Innocent) {
            self.tell_stopped(id, purpose);
        }
        if comparing == Some(true) {
            self.mark_stopped();
        }
        self.ask_for_pictures(&session);
    }

    /// A stopped comparison needs no notice; a file that was being read or written does.
    fn tell_stopped(self, id: JobId, purpose: Purpose) {
        let told = |what: String| Notice::warning(what, "Try again when there is time.");
        match purpose {
            Purpose::Arrival { batch, original, .. } => {
                self.tell(told(format!("{} was not read: it was stopped.", original.file_name)));
                self.capture_over(batch, id, None);
            }
            Purpose::Restore => self.tell(told("The result file was not opened: it was stopped.".to_owned())),
            Purpose::MapEmissivity { .. } => {
                self.tell(told("The emissivities were not worked out: it was stopped.".to_owned()));
            }
            Purpose::StudyRepeats { .. } => {
                self.tell(told("The repeat captures were not studied: it was stopped.".to_owned()));
            }
            Purpose::Write => self.tell(told("Nothing was saved: the writing was stopped.".to_owned())),
            Purpose::Survey { .. } => self.forget_awaited_surveys(),
            Purpose::CheckTwins { session } => {
                self.take_twins(
                    &session,
                    TwinState::Failed("It was stopped. It begins again with the next change.".to_owned()),
                );
            }
            Purpose::Reload { .. }
            | Purpose::Apparent { .. }
            | Purpose::EmissivityPicture
            | Purpose::Compare { .. } => {}
        }
    }

    fn mark_stopped(self) {
        self.comparison.update(|state| {
            *state = match state.latest() {
                Some(comparison) => {
                    ComparisonState::OutOfDate(Arc::clone(comparison), Progress::beginning("Stopped"))
                }
                None => ComparisonState::NotReady(
                    "The comparison was stopped. It begins again with the next change.".to_owned(),
                ),
            };
        });
    }
}
