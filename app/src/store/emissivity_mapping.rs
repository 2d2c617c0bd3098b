//! The emissivities of the soaked board: asked of the worker, and taken into the session.

use std::rc::Rc;

use analysis::content_hash::ContentHash;
use analysis::procedure::{Record, SoakedMap, SoakedOutcome};
use analysis::session::{Command, EMISSIVITY_FILES, Session};
use leptos::prelude::*;

use super::Store;
use super::engine::{Original, Purpose};
use crate::compute::protocol::{Buffer, Job, bytes};
use crate::notice::Notice;

impl Store {
    /// Works out the emissivity of every pixel, keeps the record and uses the picture.
    pub fn map_emissivity(self, entered: SoakedMap) {
        let session = self.session.get_untracked();
        self.engine.update_value(|engine| {
            let job = Job::MapEmissivity {
                session: Box::new(Session::clone(&session)),
                entered: Box::new(entered),
            };
            engine.ask(Purpose::MapEmissivity { session }, job, Vec::new());
        });
        self.pump();
    }

    pub(super) fn take_emissivity_map(
        self,
        entered: SoakedMap,
        outcome: SoakedOutcome,
        mut buffers: Vec<Buffer>,
    ) {
        let mut kept = |place: usize| {
            let bytes = bytes(&mut buffers, place).ok()?;
            let hash = ContentHash::of(&bytes);
            let original = Original { file_name: EMISSIVITY_FILES[place].to_owned(), bytes: Rc::from(bytes) };
            self.engine.update_value(|engine| drop(engine.originals.insert(hash.clone(), original)));
            Some(hash)
        };
        let (Some(picture), Some(uncertainty)) = (kept(0), kept(1)) else {
            self.tell(Notice::trouble("The emissivities were lost on their way.", "Work them out again."));
            return;
        };
        let (map, its_uncertainty) = (Some(picture.clone()), Some(uncertainty.clone()));
        let record = Record::EmissivityMap { entered, outcome, picture, uncertainty };
        self.begin_gesture();
        self.dispatch(Command::RecordProcedure { record: Box::new(record) });
        self.dispatch(Command::UseEmissivityMap { map, uncertainty: its_uncertainty });
        self.end_gesture();
    }
}
