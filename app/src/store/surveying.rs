//! What the session's units show, side by side: the one on the bench by its comparison, those that wait by
//! jobs of their own, done while nothing else is to do.

use std::collections::BTreeMap;
use std::sync::Arc;

use analysis::comparison::UnitSurvey;
use analysis::content_hash::ContentHash;
use analysis::result::units_csv;
use analysis::session::{CaptureRecord, Role, Session};
use leptos::prelude::*;

use super::Store;
use super::engine::Purpose;
use super::state::ComparisonState;
use crate::compute::protocol::Job;
use crate::compute::relevance::for_every_unit;
use crate::notice::Notice;
use crate::platform::files;

/// What is known of one unit.
#[derive(Debug, Clone, PartialEq)]
pub enum Surveyed {
    /// It is being judged.
    Awaited,
    /// What it shows.
    Told(Arc<UnitSurvey>),
    /// Why it cannot be judged.
    Failed(String),
}

/// All units' surveys, and what they were made from.
#[derive(Debug, Clone, Default)]
pub(super) struct Surveys {
    made_from: Option<Arc<Session>>,
    units: BTreeMap<ContentHash, Surveyed>,
}

impl Store {
    /// What this unit shows, once it is known. Reactive.
    #[must_use]
    pub fn survey_of(self, capture: &ContentHash) -> Option<Surveyed> {
        self.surveys.with(|surveys| surveys.units.get(capture).cloned())
    }

    /// Downloads a line on every unit as a table.
    pub fn save_units_csv(self) {
        const FILE: &str = "units.csv";
        let told = |surveyed: &Surveyed| match surveyed {
            Surveyed::Told(survey) => Some(UnitSurvey::clone(survey)),
            Surveyed::Awaited | Surveyed::Failed(_) => None,
        };
        let surveys: Vec<_> =
            self.surveys.with_untracked(|surveys| surveys.units.values().filter_map(told).collect());
        let table = self.session.with_untracked(|session| units_csv(session, &surveys));
        let saved = table
            .map_err(|error| error.to_string())
            .and_then(|table| files::download(FILE, "text/csv", table.as_bytes()));
        match saved {
            Ok(()) => {
                self.handed_over.set(Some(format!("Written and handed to the browser's downloads: {FILE}.")))
            }
            Err(message) => self.tell(
                Notice::trouble(format!("{FILE} was not saved."), "Allow downloads for this page.")
                    .because(message),
            ),
        }
    }

    /// Keeps the surveys in step with session and comparison.
    pub(super) fn keep_surveys(self) {
        Effect::new(move |_| {
            let session = self.session.get();
            let state = self.comparison.get();
            let ComparisonState::Ready(comparison) = state else { return };
            // The session may have gone on to another unit already.
            if session.unit().is_none_or(|unit| unit.hash != comparison.unit_capture) {
                return;
            }
            let made_from = for_every_unit(&session);
            self.surveys.update(|surveys| {
                if surveys.made_from.as_deref() != Some(&made_from) {
                    surveys.units.clear();
                    surveys.made_from = Some(Arc::new(made_from));
                }
                let told = UnitSurvey::of(&session, &comparison);
                surveys.units.insert(told.capture.clone(), Surveyed::Told(Arc::new(told)));
            });
            let waits =
                |record: &&CaptureRecord| record.role == Role::Waiting && record.metadata.quantity.is_some();
            for record in session.captures.iter().filter(waits) {
                let known = self.known.with(|known| known.contains_key(&record.hash));
                let asked = self.surveys.with_untracked(|surveys| surveys.units.contains_key(&record.hash));
                if known && !asked {
                    self.ask_for_survey(&session, &record.hash);
                }
            }
        });
    }

    fn ask_for_survey(self, session: &Arc<Session>, capture: &ContentHash) {
        self.surveys.update(|surveys| {
            surveys.units.insert(capture.clone(), Surveyed::Awaited);
        });
        self.engine.update_value(|engine| {
            let job = Job::Survey { session: Box::new(Session::clone(session)), capture: capture.clone() };
            engine.ask(Purpose::Survey { session: Arc::clone(session) }, job, Vec::new());
        });
        self.pump();
    }

    /// Takes an answer in, unless something has changed meanwhile.
    pub(super) fn take_survey(self, asked_in: &Session, capture: ContentHash, surveyed: Surveyed) {
        let made_from = for_every_unit(asked_in);
        self.surveys.update(|surveys| {
            if surveys.made_from.as_deref() == Some(&made_from) {
                surveys.units.insert(capture, surveyed);
            }
        });
    }

    /// A survey that was lost or stopped may be asked for again.
    pub(super) fn forget_awaited_surveys(self) {
        self.surveys.update(|surveys| surveys.units.retain(|_, unit| *unit != Surveyed::Awaited));
    }
}
