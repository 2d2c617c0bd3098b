//! The store's dealings with the worker: starting it, sending, and what each answer does.

use std::sync::Arc;

use analysis::content_hash::ContentHash;
use analysis::frame::{ApparentKelvin, Frame};
use analysis::session::Command;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::engine::Purpose;
use super::state::{ComparisonState, Progress};
use super::surveying::Surveyed;
use super::twins::TwinState;
use super::{Known, Store};
use crate::arrival::Arrived;
use crate::compute::client::Event;
use crate::compute::protocol::{Answer, Buffer, JobId, Outcome, bytes, picture, unpack_comparison};
use crate::notice::Notice;
use crate::platform::{files, worker::WorkerLink};

/// After this many faults in a row without a job done, the worker is given up.
const MOST_FAULTS: u32 = 3;

const FAULT_HINT: &str =
    "This is a fault of the page, not of your file. Save the session, and leave out what was loaded last.";

/// A table whose headings were not known was tried as a picture in vain.
fn with_table_advice(notice: Notice, file_name: &str) -> Notice {
    let is_text =
        [".csv", ".txt", ".tsv"].iter().any(|ending| file_name.to_ascii_lowercase().ends_with(ending));
    if !is_text {
        return notice;
    }
    let hint = "If it is a table of parts, its headings must name designator, x and y (as in designator, x_mm, y_mm), or designator and limits.";
    Notice { hint: format!("{} {hint}", notice.hint).trim().to_owned(), ..notice }
}

/// Why the job under way was lost with its worker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lost {
    /// A fault: what it was reading is not read again by itself.
    MayHaveBrokenIt,
    /// The person stopped it.
    Innocent,
}

impl Store {
    /// Starts the worker.
    pub(super) fn start_worker(self) {
        match WorkerLink::start(move |answer, buffers| self.on_answer(answer, buffers)) {
            Ok(link) => self.engine.update_value(|engine| engine.link = Some(link)),
            Err(message) => self.tell(
                Notice::trouble(
                    "The browser started no worker, so nothing can be computed.",
                    "Allow workers for this page, or use another browser.",
                )
                .because(message),
            ),
        }
    }

    /// Sends what is next, if anything is and the worker is free.
    pub(super) fn pump(self) {
        let failed = self.engine.try_update_value(|engine| {
            let (request, buffers) = engine.client.next_to_send()?;
            let sent = engine
                .link
                .as_ref()
                .map_or_else(|| Err("there is no worker".to_owned()), |link| link.send(&request, buffers));
            sent.err().map(|message| (request.id, message))
        });
        if let Some(Some((id, what))) = failed {
            let outcome = Outcome::Failed { what, hint: "Load the page again.".to_owned() };
            self.on_answer(Answer::Done { id, outcome: Box::new(outcome) }, Vec::new());
        }
    }

    fn on_answer(self, answer: Answer, buffers: Vec<Buffer>) {
        let event = self.engine.try_update_value(|engine| engine.client.receive(answer, buffers)).flatten();
        match event {
            None => {}
            Some(Event::Progress { stage, fraction, comparing }) => {
                let progress = Progress { stage, fraction };
                if comparing {
                    self.comparison.update(|state| *state = state.working(progress.clone()));
                }
                self.activity.set(Some(progress));
            }
            Some(Event::Done { id, outcome, buffers }) => self.on_done(id, outcome, buffers),
            Some(Event::Fault { message }) => {
                // Not within the dying worker's own call.
                spawn_local(async move { self.on_fault(&message) });
                return;
            }
        }
        self.pump();
        if self.engine.with_value(|engine| engine.client.is_idle()) {
            self.activity.set(None);
        }
    }

    fn on_done(self, id: JobId, outcome: Outcome, mut buffers: Vec<Buffer>) {
        let purpose = self.engine.try_update_value(|engine| {
            engine.faults = 0;
            engine.purposes.remove(&id)
        });
        let Some(Some(purpose)) = purpose else { return };
        match outcome {
            Outcome::Decoded { hash, file_name, metadata, rows, columns, raw_range, warnings } => {
                self.tell_warnings(&file_name, &warnings);
                let known = Known { shape: (rows, columns), raw_range };
                match purpose {
                    Purpose::Arrival { batch, original, has_sidecar } => {
                        self.engine.update_value(|engine| {
                            engine.originals.insert(hash.clone(), original);
                        });
                        let before = self.known.try_update(|all| all.insert(hash.clone(), known));
                        let was_known = before.flatten().is_some();
                        let role = self.role_asked_of(batch);
                        let metadata = *metadata;
                        let arrived = Arrived { hash, file_name, metadata, has_sidecar, was_known, role };
                        self.capture_over(batch, id, Some(arrived));
                    }
                    _ => {
                        self.engine.update_value(|engine| {
                            engine.reloading.remove(&hash);
                        });
                        self.known.update(|all| {
                            all.insert(hash, known);
                        });
                    }
                }
            }
            Outcome::Apparent { hash, rows, columns } => self.take_picture(hash, rows, columns, buffers),
            Outcome::EmissivityPicture { hash, rows, columns } => {
                if let Ok(frame) = picture(&mut buffers, 0, rows, columns) {
                    self.emissivity_picture.set(Some((hash, Arc::new(frame))));
                }
            }
            Outcome::Compared { summary } => match unpack_comparison(*summary, buffers) {
                Ok(comparison) => self.comparison.set(ComparisonState::Ready(Arc::new(comparison))),
                Err(error) => self.fail_comparison(error.to_string()),
            },
            Outcome::Surveyed { unit } => {
                if let Purpose::Survey { session } = purpose {
                    self.take_survey(&session, unit.capture.clone(), Surveyed::Told(Arc::new(*unit)));
                }
            }
            Outcome::CannotSurvey { capture, why } => {
                if let Purpose::Survey { session } = purpose {
                    self.take_survey(&session, capture, Surveyed::Failed(why));
                }
            }
            Outcome::TwinsChecked { report } => {
                if let Purpose::CheckTwins { session } = purpose {
                    self.take_twins(&session, TwinState::Told(Arc::new(*report)));
                }
            }
            Outcome::CannotCheckTwins { why } => {
                if let Purpose::CheckTwins { session } = purpose {
                    self.take_twins(&session, TwinState::Failed(format!("It could not be done: {why}.")));
                }
            }
            Outcome::CannotCompare { why } => self.comparison.set(ComparisonState::NotReady(why)),
            Outcome::Written { files } => self.hand_over(&files, buffers),
            Outcome::Restored { file_name, session, captures } => {
                self.take_restored(&file_name, *session, captures, buffers);
            }
            Outcome::Studied { study } => {
                if self.still_holds(&purpose) {
                    self.dispatch(Command::KeepRepeatability { study: Some(study) });
                }
            }
            Outcome::EmissivityMapped { entered, map } => {
                if self.still_holds(&purpose) {
                    self.take_emissivity_map(*entered, *map, buffers);
                }
            }
            Outcome::Failed { what, hint } => self.on_failed(id, purpose, Notice::trouble(what, hint)),
        }
    }

    /// Whether the session still has the captures that a job was asked about; if not, the answer is dropped and
    /// that is told.
    fn still_holds(self, purpose: &Purpose) -> bool {
        let (Purpose::MapEmissivity { session } | Purpose::StudyRepeats { session }) = purpose else {
            return true;
        };
        let now = self.session.get_untracked();
        let holds = now.captures == session.captures && now.layout == session.layout;
        if !holds {
            self.tell(Notice::warning(
                "The captures changed while they were worked on: the result was dropped.",
                "Ask for it again.",
            ));
        }
        holds
    }

    /// A job that could not be done: told, and its traces removed.
    fn on_failed(self, id: JobId, purpose: Purpose, notice: Notice) {
        match purpose {
            Purpose::Arrival { batch, original, .. } => {
                self.tell(with_table_advice(notice, &original.file_name));
                self.capture_over(batch, id, None);
            }
            Purpose::Reload { hash } => {
                self.engine.update_value(|engine| {
                    engine.reloading.remove(&hash);
                    // Not tried again by itself.
                    engine.originals.remove(&hash);
                });
                self.tell(notice);
                self.compare_when_ready();
            }
            Purpose::Apparent { hash } => {
                self.frames.update(|frames| drop(frames.remove(&hash)));
                self.tell(notice);
            }
            Purpose::Compare { session } => {
                self.engine.update_value(|engine| engine.stopped = Some(session));
                self.comparison.set(ComparisonState::Failed(notice));
            }
            Purpose::Survey { .. } => {
                self.forget_awaited_surveys();
                self.tell(notice);
            }
            Purpose::CheckTwins { session } => {
                self.take_twins(&session, TwinState::Failed(notice.what.clone()));
                self.tell(notice);
            }
            Purpose::Write
            | Purpose::Restore
            | Purpose::EmissivityPicture
            | Purpose::MapEmissivity { .. }
            | Purpose::StudyRepeats { .. } => {
                self.tell(notice);
            }
        }
    }

    /// The worker met a fault of ours: it is replaced, the lost job is told, everything else goes on.
    fn on_fault(self, message: &str) {
        let notice = |what: &str| Notice::trouble(what, FAULT_HINT).because(message.to_owned());
        let faults = self.engine.try_update_value(|engine| {
            engine.faults += 1;
            engine.faults
        });
        if faults.is_none_or(|faults| faults >= MOST_FAULTS) {
            self.engine.update_value(|engine| engine.link = None);
            let given_up = notice("Computing failed several times and was given up. Load the page again.");
            self.comparison.set(ComparisonState::Failed(given_up.clone()));
            self.activity.set(None);
            self.tell(given_up);
            return;
        }
        let lost = self.replace_worker(Lost::MayHaveBrokenIt);
        match lost {
            Some((id, Purpose::Arrival { batch, original, has_sidecar })) => {
                let what = format!("{} could not be read: the page met a fault.", original.file_name);
                self.on_failed(id, Purpose::Arrival { batch, original, has_sidecar }, notice(&what));
            }
            Some((id, purpose)) => {
                self.on_failed(id, purpose, notice("Computing met a fault and was begun anew."))
            }
            None => self.tell(notice("Computing met a fault and was begun anew.")),
        }
        self.pump();
    }

    /// Ends the worker and starts another, which is first given the session's captures. Yields the lost job.
    pub(super) fn replace_worker(self, lost_job: Lost) -> Option<(JobId, Purpose)> {
        let session = self.session.get_untracked();
        let lost = self.engine.try_update_value(|engine| {
            engine.link = None;
            let lost = engine.client.restart();
            let lost = lost.and_then(|id| Some((id, engine.purposes.remove(&id)?)));
            let broken = match (&lost, lost_job) {
                (Some((_, Purpose::Reload { hash })), Lost::MayHaveBrokenIt) => Some(hash.clone()),
                (Some((_, Purpose::Apparent { hash })), Lost::Innocent) => {
                    // Its picture is to be asked for again.
                    engine.asked.remove(hash);
                    None
                }
                _ => None,
            };
            for hash in super::comparing::pixels_of(&session) {
                if broken.as_ref() != Some(&hash)
                    && let Some((job, buffers)) = engine.reload_job(&hash, &session)
                {
                    let id = engine.client.ask_first(job, buffers);
                    engine.purposes.insert(id, Purpose::Reload { hash: hash.clone() });
                    engine.reloading.insert(hash);
                }
            }
            lost
        });
        // The new worker knows the present session only; what undo brings back is then read again.
        let needed = super::comparing::pixels_of(&session);
        self.known.update(|known| known.retain(|hash, _| needed.contains(hash)));
        self.start_worker();
        lost.flatten()
    }

    fn take_picture(self, hash: ContentHash, rows: usize, columns: usize, mut buffers: Vec<Buffer>) {
        match picture::<ApparentKelvin>(&mut buffers, 0, rows, columns) {
            Ok(frame) => self.frames.update(|frames| {
                frames.insert(hash, Arc::<Frame<ApparentKelvin>>::new(frame));
            }),
            Err(error) => self.tell(
                Notice::trouble("A picture was lost on its way.", "Load the page again.")
                    .because(error.to_string()),
            ),
        }
    }

    fn fail_comparison(self, detail: String) {
        let notice = Notice::trouble("The comparison was lost on its way.", "Compare again.").because(detail);
        self.comparison.set(ComparisonState::Failed(notice));
    }

    fn hand_over(self, written: &[crate::compute::protocol::WrittenFile], mut buffers: Vec<Buffer>) {
        let mut names = Vec::new();
        for (index, file) in written.iter().enumerate() {
            let saved = bytes(&mut buffers, index)
                .map_err(|error| error.to_string())
                .and_then(|bytes| files::download(&file.file_name, &file.media_type, &bytes));
            match saved {
                Ok(()) => names.push(file.file_name.as_str()),
                Err(message) => self.tell(
                    Notice::trouble(
                        format!("{} was not saved.", file.file_name),
                        "Allow downloads for this page.",
                    )
                    .because(message),
                ),
            }
        }
        if !names.is_empty() {
            let told = format!("Written and handed to the browser's downloads: {}.", names.join(", "));
            self.handed_over.set(Some(told));
        }
    }

    pub(super) fn tell_warnings(self, file_name: &str, warnings: &[String]) {
        for warning in warnings {
            self.tell(Notice::warning(warning.clone(), format!("{file_name} was loaded nevertheless.")));
        }
    }
}
