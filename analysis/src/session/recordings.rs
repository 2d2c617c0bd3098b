//! What a person said of recordings and marked in them. The session holds none of their frames.

use serde::{Deserialize, Serialize};

use crate::capture::{CaptureMetadata, FrameTimes, Quantity};
use crate::content_hash::ContentHash;
use crate::sequence::{Crossing, Trigger};
use crate::units::{Kelvin, KelvinDifference};

/// Names a recording, so that it is known again when its file is opened once more.
///
/// Gigabytes are not read through for a hash: name, size and the first piece must do. Two runs of as many frames under
/// one name have the same size, but not the same first frame.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordingName {
    /// The name of its file, or of the first and the last of many.
    pub name: String,
    /// The size of all its files together.
    pub bytes: u64,
    /// What the first piece of its first file holds.
    pub head: Option<ContentHash>,
}

/// What was said of one recording and marked in it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RecordingNotes {
    /// Which recording.
    pub recording: RecordingName,
    /// What its numbers mean, where a person said so.
    pub quantity: Option<Quantity>,
    /// When its frames were taken, where a person said so.
    pub frame_times: Option<FrameTimes>,
    /// The first and the last frame of the marked span, from 0; `None` for all frames.
    pub span: Option<[usize; 2]>,
    /// The frame that changes are counted from, from 0.
    pub counted_from: usize,
    /// Changes from the mean of frames just before are of so many frames.
    pub frames_before: usize,
}

impl Default for RecordingNotes {
    fn default() -> Self {
        Self {
            recording: RecordingName::default(),
            quantity: None,
            frame_times: None,
            span: None,
            counted_from: 0,
            // Common practice, no source: enough to take two thirds of the noise off, few enough to follow a drift.
            frames_before: 10,
        }
    }
}

impl RecordingNotes {
    /// What is known of the recording: what its files state, and above that what a person said.
    #[must_use]
    pub fn laid_over(&self, stated: &CaptureMetadata) -> CaptureMetadata {
        let mut known = stated.clone();
        if self.quantity.is_some() {
            known.quantity.clone_from(&self.quantity);
        }
        if self.frame_times.is_some() {
            known.frame_times.clone_from(&self.frame_times);
        }
        known
    }
}

/// What sets a watch off.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WatchedFor {
    /// Rising above a temperature.
    #[default]
    Above,
    /// Falling below a temperature.
    Below,
    /// A moment.
    Moment,
}

/// What is watched for in recordings: it holds for the next one as well.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Watch {
    /// The curve that is watched, by its name; the first where there is none of this name.
    pub curve: String,
    /// What sets it off.
    pub watched_for: WatchedFor,
    /// The temperature to pass.
    pub threshold: Option<Kelvin>,
    /// How far the curve must come back before it can set the watch off again.
    pub hysteresis: KelvinDifference,
    /// How long it must stay beyond before it counts, s.
    pub hold_s: f64,
    /// The moment, s.
    pub at_s: Option<f64>,
}

impl Default for Watch {
    fn default() -> Self {
        Self {
            curve: String::new(),
            watched_for: WatchedFor::default(),
            threshold: None,
            // Above the noise of any camera, below what a board does when its load steps.
            hysteresis: KelvinDifference::known(1.0),
            hold_s: 0.0,
            at_s: None,
        }
    }
}

impl Watch {
    /// What sets it off, once all that takes is stated.
    #[must_use]
    pub fn trigger(&self) -> Option<Trigger> {
        let crossing = match self.watched_for {
            WatchedFor::Moment => return self.at_s.map(Trigger::At),
            WatchedFor::Above => Crossing::Above,
            WatchedFor::Below => Crossing::Below,
        };
        Some(Trigger::Threshold {
            crossing,
            threshold: self.threshold?.value(),
            hysteresis: self.hysteresis.value(),
            hold_s: self.hold_s,
        })
    }

    /// The temperature that is watched; none where a moment is.
    #[must_use]
    pub fn level(&self) -> Option<Kelvin> {
        self.threshold.filter(|_| self.watched_for != WatchedFor::Moment)
    }

    /// Whether nothing was stated.
    pub(super) fn is_unstated(&self) -> bool {
        *self == Self::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::session::{Command, History, Session, saved};
    use crate::units::TemperatureUnit;

    fn notes(name: &str, span: [usize; 2]) -> RecordingNotes {
        let recording = RecordingName { name: name.to_owned(), bytes: 7, head: None };
        RecordingNotes { recording, span: Some(span), ..RecordingNotes::default() }
    }

    #[test]
    fn each_recording_keeps_its_own_marks_and_undo_takes_the_last_back() {
        let mut history = History::default();
        for marked in [notes("a.tiff", [3, 9]), notes("b.tiff", [0, 4]), notes("a.tiff", [5, 9])] {
            history.apply(Command::NoteRecording { notes: Box::new(marked) }).unwrap();
        }
        let span = |history: &History, name: &str| {
            let recording = RecordingName { name: name.to_owned(), bytes: 7, head: None };
            history.present().notes_on(&recording).span
        };
        assert_eq!((span(&history, "a.tiff"), span(&history, "b.tiff")), (Some([5, 9]), Some([0, 4])));
        history.undo();
        assert_eq!((span(&history, "a.tiff"), span(&history, "b.tiff")), (Some([3, 9]), Some([0, 4])));
        assert_eq!(span(&history, "c.tiff"), None);
    }

    #[test]
    fn what_a_person_said_goes_above_what_the_file_states_and_is_saved() {
        let unit = TemperatureUnit::Celsius;
        let said = Quantity::Temperature { unit, scale: 0.1, offset: 0.0, camera_correction: None };
        let times = FrameTimes::Interval(0.5);
        let stated = CaptureMetadata { frame_times: Some(times.clone()), ..CaptureMetadata::default() };
        let said = RecordingNotes { quantity: Some(said), ..notes("a.tiff", [0, 1]) };
        let known = said.laid_over(&stated);
        assert_eq!((known.quantity, known.frame_times), (said.quantity.clone(), Some(times)));
        let mut session = Session::default();
        let watch = Watch { threshold: Some(Kelvin::ROOM), ..Watch::default() };
        session.apply(Command::NoteRecording { notes: Box::new(said) }).unwrap();
        session.apply(Command::WatchFor { watch }).unwrap();
        assert_eq!(saved::load(&saved::save(&session).unwrap()).unwrap(), session);
        assert_eq!(session.baseline_only(), Session::default(), "a baseline for later is of captures");
    }
}
