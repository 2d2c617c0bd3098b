//! What a person says of the open recording and marks in it: every word of it a command of the session.

use analysis::capture::{FrameTimes, Quantity};
use analysis::session::{Command, RecordingNotes};
use leptos::prelude::*;

use super::desk::Desk;
use super::protocol::PictureKind;

impl Desk {
    /// Keeps something said of the open recording.
    fn note(self, change: impl FnOnce(&mut RecordingNotes)) {
        if self.opened.with_untracked(Option::is_none) {
            return;
        }
        let mut notes = self.notes.get_untracked();
        change(&mut notes);
        self.store.dispatch(Command::NoteRecording { notes: Box::new(notes) });
    }

    /// States how far apart the frames are.
    pub fn state_interval(self, seconds: f64) {
        self.note(|notes| notes.frame_times = Some(FrameTimes::Interval(seconds)));
    }

    /// States what the numbers mean.
    pub fn state_quantity(self, quantity: Quantity) {
        self.note(|notes| notes.quantity = Some(quantity));
    }

    /// From now on changes are counted from the frame looked at.
    pub fn count_from_here(self) {
        let frame = self.frame.get_untracked();
        self.note(|notes| notes.counted_from = frame);
        self.look_at(PictureKind::Difference);
    }

    /// From now on sudden changes are counted from the mean of so many frames before.
    pub fn count_from_mean_of(self, frames: usize) {
        self.note(|notes| notes.frames_before = frames);
    }

    /// Marks the frames from `from` to `to`, both included.
    pub fn mark(self, from: usize, to: usize) {
        let last = self.last();
        let (from, to) = (from.min(to).min(last), from.max(to).min(last));
        self.note(|notes| notes.span = (from > 0 || to < last).then_some([from, to]));
    }

    /// Marks the frames from one time to another, s.
    pub fn mark_times(self, from_s: f64, to_s: f64) {
        let (from_s, to_s) = (from_s.min(to_s), from_s.max(to_s));
        let span = self.timeline.with_untracked(|timeline| Some(timeline.as_ref()?.span(from_s, to_s)));
        if let Some(span) = span.filter(|span| !span.is_empty()) {
            self.mark(span.start, span.end - 1);
        }
    }

    /// Marks the frames from the event before the frame looked at to the next.
    pub fn mark_between_events(self) {
        let frame = self.frame.get_untracked();
        let ends = self.timeline.with_untracked(|timeline| {
            let timeline = timeline.as_ref()?;
            let now = timeline.time(frame)?;
            let times = || timeline.events().iter().map(|event| event.at_s);
            let from = times().filter(|at| *at <= now).fold(f64::NEG_INFINITY, f64::max);
            let to = times().filter(|at| *at > now).fold(f64::INFINITY, f64::min);
            let span = timeline.span(from, to);
            // The frame of the next event itself is no longer of this stretch.
            let last =
                span.clone().rev().find(|frame| timeline.time(*frame).is_some_and(|time| time < to))?;
            Some((span.start, last))
        });
        if let Some((from, to)) = ends {
            self.mark(from, to);
        }
    }
}
