//! What goes when frames look otherwise, when another recording comes or when one is closed.

use std::collections::BTreeMap;

use leptos::prelude::*;

use super::desk::Desk;
use super::engine::Engine;
use super::protocol::PictureKind;
use crate::stage::look::Subject;

impl Desk {
    /// Frames look otherwise now than they did.
    pub(super) fn see_anew(self) {
        self.forget_what_was_worked_out();
        self.ask_to_show();
        self.follow_if_small();
    }

    fn forget_what_was_worked_out(self) {
        let face = self.face.get_untracked();
        if !face.is_of_a_frame() {
            self.face.set(PictureKind::Frame);
        }
        // Numbers that mean nothing any more, as when an answer is undone, have no picture.
        let meant = self.metadata.with_untracked(|metadata| metadata.quantity.is_some());
        self.pictures.update(|pictures| pictures.retain(|kind, _| meant && kind.is_of_a_frame()));
        self.fits.update(BTreeMap::clear);
        self.lock_in.set(None);
        self.recorded.ellipse.set(None);
        let old = self.trends.with_untracked(Option::is_some);
        self.out_of_date.set(old);
    }

    /// What was worked out over another span is not this one's: sums, fits and the maps of fits. A lock-in stays, and says
    /// which span it is of.
    pub(super) fn forget_what_is_of_the_span(self) {
        let swings = |kind: PictureKind| matches!(kind, PictureKind::Amplitude | PictureKind::Lag);
        let stays = |kind: PictureKind| kind.is_of_a_frame() || swings(kind);
        self.pictures.update(|pictures| pictures.retain(|kind, _| stays(*kind)));
        self.fits.update(BTreeMap::clear);
        if !stays(self.face.get_untracked()) {
            self.face.set(PictureKind::Frame);
        }
    }

    /// As if no recording had been open.
    pub(super) fn forget(self) {
        self.frame.set(0);
        self.face.set(PictureKind::Frame);
        self.pictures.update(BTreeMap::clear);
        self.recorded.seen.set(None);
        self.recorded.ellipse.set(None);
        self.recorded.corners.set(Vec::new());
        self.trouble.set(None);
        self.work.set(None);
        self.trends.set(None);
        self.fits.update(BTreeMap::clear);
        self.lock_in.set(None);
        self.held.set(None);
        self.out_of_date.set(false);
    }

    /// Lets the recording go.
    pub fn close(self) {
        self.opened.set(None);
        self.forget();
        self.look.forget_looked_at_alone();
        self.engine.update_value(|engine| *engine = Engine::default());
        if self.look.subject.get_untracked() == Subject::Recording {
            self.look.subject.set(Subject::Baseline);
        }
    }

    /// A session that starts afresh has no recording, and its picture is looked at as a whole.
    pub(super) fn end_with_the_session(self) {
        Effect::new(move |before: Option<u32>| {
            let starts = self.store.starts().get();
            if before.is_some_and(|before| before != starts) {
                self.close();
                self.look.cursor.set(None);
                self.look.hover.set(None);
                self.look.fit();
            }
            starts
        });
    }
}
