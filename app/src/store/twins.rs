//! What parts of one kind on the unit show: asked of the worker where there is no known-good board, or by choice.

use std::sync::Arc;

use analysis::comparison::{TwinReport, can_check_twins};
use analysis::session::Session;
use leptos::prelude::*;

use super::Store;
use super::engine::Purpose;
use crate::compute::protocol::Job;
use crate::compute::relevance::for_twins;

/// Where the check stands.
#[derive(Debug, Clone, Default, PartialEq)]
pub enum TwinState {
    /// There are known-good boards, and nobody asked for it.
    #[default]
    NotAsked,
    /// What is missing first.
    NotReady(String),
    /// It is being made.
    Awaited,
    /// Why it could not be made, as whole sentences.
    Failed(String),
    /// What it showed.
    Told(Arc<TwinReport>),
}

impl TwinState {
    /// What it showed, where no known-good board is there to compare with: then it stands for the comparison.
    #[must_use]
    pub fn told_instead(&self, session: &Session) -> Option<&TwinReport> {
        match self {
            Self::Told(report) if session.is_without_good_boards() => Some(report),
            _ => None,
        }
    }
}

/// The check, and what it was made from.
#[derive(Debug, Clone, Default)]
pub(super) struct Twins {
    made_from: Option<Arc<Session>>,
    state: TwinState,
}

impl Store {
    /// What parts of one kind on the unit show. Reactive.
    #[must_use]
    pub fn twins(self) -> TwinState {
        self.twins.with(|twins| twins.state.clone())
    }

    /// Keeps the check in step with the session.
    pub(super) fn keep_twins(self) {
        let relevant = Memo::new(move |_| self.session.with(|session| for_twins(session)));
        let at_rest = Memo::new(move |_| self.comparison.with(|state| state.progress().is_none()));
        Effect::new(move |_| {
            let relevant = relevant.get();
            let known = self.known.with(|known| {
                let used = relevant.captures.iter().map(|record| &record.hash).chain(&relevant.surface.map);
                used.into_iter().all(|hash| known.contains_key(hash))
            });
            let compared = at_rest.get();
            let alone = relevant.is_without_good_boards();
            if !alone && !relevant.criteria.twins.beside_good_boards {
                self.twins.set(Twins::default());
            } else if let Err(missing) = can_check_twins(&relevant) {
                self.twins.set(Twins { made_from: None, state: TwinState::NotReady(missing.to_string()) });
            } else if let Some(record) =
                relevant.captures.iter().find(|record| record.metadata.quantity.is_none())
            {
                let missing = format!("say what the numbers of {} mean", record.file_name);
                self.twins.set(Twins { made_from: None, state: TwinState::NotReady(missing) });
            } else if self.twins.with_untracked(|twins| twins.made_from.as_deref() != Some(&relevant)) {
                if known && compared {
                    self.ask_for_twins(relevant);
                } else {
                    // What was told is of an earlier session.
                    self.twins.set(Twins { made_from: None, state: TwinState::Awaited });
                }
            }
        });
    }

    fn ask_for_twins(self, relevant: Session) {
        self.twins.set(Twins { made_from: Some(Arc::new(relevant)), state: TwinState::Awaited });
        let session = self.session.get_untracked();
        self.engine.update_value(|engine| {
            let job = Job::CheckTwins { session: Box::new(Session::clone(&session)) };
            engine.ask(Purpose::CheckTwins { session }, job, Vec::new());
        });
        self.pump();
    }

    /// Takes an answer in, unless something has changed meanwhile.
    pub(super) fn take_twins(self, asked_in: &Session, state: TwinState) {
        let asked_in = for_twins(asked_in);
        self.twins.update(|twins| {
            if twins.made_from.as_deref() == Some(&asked_in) {
                twins.state = state;
            }
        });
    }
}
