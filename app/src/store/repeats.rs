//! What the bench can call: asked of the worker; its answer is kept in the session.

use analysis::content_hash::ContentHash;
use analysis::session::Session;
use leptos::prelude::*;

use super::Store;
use super::engine::Purpose;
use crate::compute::protocol::Job;

impl Store {
    /// Studies repeat captures of one board.
    pub fn study_repeats(self, captures: Vec<ContentHash>, confidence: f64) {
        let session = self.session.get_untracked();
        self.engine.update_value(|engine| {
            let job = Job::StudyRepeats { session: Box::new(Session::clone(&session)), captures, confidence };
            engine.ask(Purpose::StudyRepeats { session }, job, Vec::new());
        });
        self.pump();
    }
}
