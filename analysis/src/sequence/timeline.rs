//! The time of each frame, the events among them, and a walk through them that no bad frame ends.

use std::ops::{ControlFlow, Range};

use super::frames::{FrameProblem, FrameSource};
use crate::capture::{BenchEvent, CaptureMetadata, FrameTimes};
use crate::frame::{Frame, RawNumber};

/// Why frames have no times.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum TimelineError {
    /// Nobody said how far apart the frames are.
    #[error("nobody said when the frames were taken: state the frame interval in seconds")]
    Unstated,
}

/// When the frames of a sequence were taken. Times are seconds, rising from frame to frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Timeline {
    times_s: FrameTimes,
    frames: usize,
    events: Vec<BenchEvent>,
}

/// A pause that is longer than the frames are usually apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// The frame before it, from 0.
    pub after_frame: usize,
    /// The time of that frame, s.
    pub from_s: f64,
    /// The time of the next, s.
    pub to_s: f64,
    /// How many frames would have fitted in.
    pub missing: usize,
}

impl Timeline {
    /// The timeline of `frames` frames with these metadata.
    ///
    /// # Errors
    /// [`TimelineError::Unstated`] when neither an interval nor times are stated.
    pub fn new(metadata: &CaptureMetadata, frames: usize) -> Result<Self, TimelineError> {
        let times_s = metadata.frame_times.clone().ok_or(TimelineError::Unstated)?;
        let mut events = metadata.events.clone();
        events.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        Ok(Self { times_s, frames, events })
    }

    /// How many frames have a time: fewer than there are frames where too few times were stated.
    #[must_use]
    pub fn count(&self) -> usize {
        match &self.times_s {
            FrameTimes::Interval(_) => self.frames,
            FrameTimes::Each(times) => times.len().min(self.frames),
        }
    }

    /// The time of a frame, s; `None` where none was stated.
    #[must_use]
    pub fn time(&self, frame: usize) -> Option<f64> {
        match &self.times_s {
            FrameTimes::Interval(interval) => (frame < self.frames).then_some(frame as f64 * interval),
            FrameTimes::Each(times) => times.get(frame).copied().filter(|_| frame < self.frames),
        }
    }

    /// The times of all frames that have one, s.
    #[must_use]
    pub fn times(&self) -> Vec<f64> {
        (0..self.count()).filter_map(|frame| self.time(frame)).collect()
    }

    /// The last frame taken at or before this time; the first for an earlier one. `None` without frames.
    #[must_use]
    pub fn frame_at(&self, time_s: f64) -> Option<usize> {
        let later = self.first_from(time_s, |time, limit| time <= limit);
        self.count().checked_sub(1).map(|last| later.saturating_sub(1).min(last))
    }

    /// The frames from one time to another, both included.
    #[must_use]
    pub fn span(&self, from_s: f64, to_s: f64) -> Range<usize> {
        let start = self.first_from(from_s, |time, limit| time < limit);
        let end = self.first_from(to_s, |time, limit| time <= limit);
        start..end.max(start)
    }

    /// The first frame whose time no longer is `before` the limit.
    fn first_from(&self, limit: f64, before: fn(f64, f64) -> bool) -> usize {
        let (mut low, mut high) = (0, self.count());
        while low < high {
            let middle = low.midpoint(high);
            if self.time(middle).is_some_and(|time| before(time, limit)) {
                low = middle + 1
            } else {
                high = middle
            }
        }
        low
    }

    /// The events in their order.
    #[must_use]
    pub fn events(&self) -> &[BenchEvent] {
        &self.events
    }

    /// The times of the events with this name, s, as [`reference_from_events`](super::reference_from_events)
    /// wants them.
    #[must_use]
    pub fn times_of(&self, name: &str) -> Vec<f64> {
        self.events.iter().filter(|event| event.name == name).map(|event| event.at_s).collect()
    }

    /// What was last stated of the supply at or before this time, each quantity by the latest event that states it.
    #[must_use]
    pub fn supply_at(&self, time_s: f64) -> BenchEvent {
        let mut supply = BenchEvent { at_s: time_s, ..BenchEvent::default() };
        for event in self.events.iter().take_while(|event| event.at_s <= time_s) {
            supply.name.clone_from(&event.name);
            supply.voltage = event.voltage.or(supply.voltage);
            supply.current = event.current.or(supply.current);
            supply.frequency = event.frequency.or(supply.frequency);
        }
        supply
    }

    /// Pauses of more than one and a half times the median distance of two frames.
    #[must_use]
    pub fn gaps(&self) -> Vec<Gap> {
        let FrameTimes::Each(_) = self.times_s else { return Vec::new() };
        let times = self.times();
        let mut steps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
        if steps.is_empty() {
            return Vec::new();
        }
        let middle = steps.len() / 2;
        let usual = *steps.select_nth_unstable_by(middle, f64::total_cmp).1;
        let pairs = times.windows(2).enumerate();
        pairs
            .filter(|(_, pair)| pair[1] - pair[0] > 1.5 * usual)
            .map(|(after_frame, pair)| {
                let missing = ((pair[1] - pair[0]) / usual).round() as usize;
                Gap { after_frame, from_s: pair[0], to_s: pair[1], missing: missing.saturating_sub(1) }
            })
            .collect()
    }
}

/// Reads the frames of a span one after the other and hands each over with its index and time, s. What
/// cannot be read is reported and left out. `take` may break off, as when the person cancels.
pub fn walk(
    source: &mut (impl FrameSource + ?Sized),
    timeline: &Timeline,
    span: Range<usize>,
    mut take: impl FnMut(usize, f64, Frame<RawNumber>) -> ControlFlow<()>,
) -> Vec<FrameProblem> {
    let mut problems = Vec::new();
    for frame in span.start..span.end.min(source.count()) {
        let Some(time_s) = timeline.time(frame) else {
            problems.push(FrameProblem::Untimed { frame });
            continue;
        };
        match source.read(frame) {
            Ok(pixels) => {
                if take(frame, time_s, pixels).is_break() {
                    return problems;
                }
            }
            Err(problem) => problems.push(problem),
        }
    }
    if span.end >= source.count() {
        problems.extend(source.lost().cloned());
    }
    problems
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sequence::FrameSeries;

    fn timeline(frame_times: FrameTimes, frames: usize) -> Timeline {
        let event = |at_s, name: &str, voltage, current| BenchEvent {
            at_s,
            name: name.to_owned(),
            voltage,
            current,
            frequency: None,
        };
        let events =
            vec![event(20.0, "load step", None, Some(1.5)), event(5.0, "power on", Some(12.0), Some(0.5))];
        let metadata = CaptureMetadata { frame_times: Some(frame_times), events, ..Default::default() };
        Timeline::new(&metadata, frames).unwrap()
    }

    #[test]
    fn frames_are_found_by_time() {
        let line = timeline(FrameTimes::Interval(0.5), 10);
        assert_eq!((line.time(3), line.time(10)), (Some(1.5), None));
        assert_eq!(
            [-1.0, 0.0, 0.7, 99.0].map(|time| line.frame_at(time)),
            [Some(0), Some(0), Some(1), Some(9)]
        );
        assert_eq!((line.span(0.5, 2.0), line.span(3.0, 1.0)), (1..5, 6..6));
        assert!(line.gaps().is_empty());
    }

    #[test]
    fn a_pause_is_a_gap_with_the_frames_that_would_have_fitted_in() {
        let line = timeline(FrameTimes::Each(vec![0.0, 1.0, 2.0, 6.1, 7.0]), 5);
        assert_eq!(line.gaps(), [Gap { after_frame: 2, from_s: 2.0, to_s: 6.1, missing: 3 }]);
    }

    #[test]
    fn events_are_in_order_and_tell_the_supply_of_any_moment() {
        let line = timeline(FrameTimes::Interval(1.0), 30);
        assert_eq!(line.events()[0].name, "power on");
        assert_eq!((line.supply_at(4.0).voltage, line.supply_at(5.0).current), (None, Some(0.5)));
        let later = line.supply_at(25.0);
        assert_eq!((later.voltage, later.current, later.name.as_str()), (Some(12.0), Some(1.5), "load step"));
        assert_eq!(line.times_of("power on"), [5.0]);
    }

    #[test]
    fn a_walk_goes_on_past_bad_frames_and_reports_them() {
        let names = ["f1.pgm", "f2.pgm", "f4.pgm", "f5.pgm"].map(str::to_owned).to_vec();
        let mut source = FrameSeries::new(names, |file| match file {
            1 => Ok(b"P5 1 1 255".to_vec()),
            _ => Ok(b"P5 1 1 255 x".to_vec()),
        })
        .unwrap();
        let line = timeline(FrameTimes::Each(vec![0.0, 1.0, 2.0, 3.0]), 5);
        let mut seen = Vec::new();
        let problems = walk(&mut source, &line, 0..5, |frame, time, _| {
            seen.push((frame, time));
            ControlFlow::Continue(())
        });
        assert_eq!(seen, [(0, 0.0), (3, 3.0)]);
        assert!(matches!(
            problems.as_slice(),
            [
                FrameProblem::Unreadable { frame: 1, .. },
                FrameProblem::Dropped { frame: 2, number: 3 },
                FrameProblem::Untimed { frame: 4 }
            ]
        ));
    }

    #[test]
    fn without_a_stated_time_there_is_no_timeline() {
        assert_eq!(Timeline::new(&CaptureMetadata::default(), 5), Err(TimelineError::Unstated));
    }
}
