//! Playing a recording, at its own pace or faster.

use leptos::prelude::*;

use super::desk::Desk;
use crate::platform::clock;

/// Where nobody stated times, so many frames pass in a second.
const FRAMES_PER_SECOND: f64 = 10.0;

/// How many times faster than it was taken a recording can be played.
pub const SPEEDS: [f64; 7] = [1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0];

/// Whether the recording runs, and how fast.
#[derive(Debug, Clone, Copy)]
pub struct Playback {
    desk: Desk,
    /// Whether it runs.
    pub playing: RwSignal<bool>,
    /// How many times faster than it was taken.
    pub speed: RwSignal<f64>,
    /// Whether a person chose the speed.
    chosen: StoredValue<bool>,
    /// Counts the starts, so that an earlier run knows that it is over.
    run: StoredValue<u32>,
}

/// Where and when a run began.
#[derive(Clone, Copy)]
struct Origin {
    run: u32,
    clock_ms: f64,
    time_s: f64,
    end: usize,
    /// The frame it left on the screen: another one there means that a person went elsewhere.
    shown: usize,
}

impl Playback {
    /// At rest.
    #[must_use]
    pub fn new(desk: Desk) -> Self {
        let (playing, speed) = (RwSignal::new(false), RwSignal::new(1.0));
        Self { desk, playing, speed, chosen: StoredValue::new(false), run: StoredValue::new(0) }
    }

    /// Starts or holds.
    pub fn turn(self) {
        if self.playing.get_untracked() {
            self.playing.set(false);
        } else {
            self.start();
        }
    }

    /// Goes on at another speed.
    pub fn set_speed(self, speed: f64) {
        self.speed.set(speed);
        self.chosen.set_value(true);
        if self.playing.get_untracked() {
            self.start();
        }
    }

    /// Within the marked span where the frame lies in it, else to the end.
    fn start(self) {
        let (span, last) = (self.desk.span.get_untracked(), self.desk.last());
        let mut frame = self.desk.frame.get_untracked();
        let end = if span.contains(&frame) { span.end.saturating_sub(1) } else { last };
        if frame >= end {
            frame = if span.contains(&frame) { span.start } else { 0 };
        }
        self.desk.go_to(frame);
        if !self.chosen.get_value() {
            self.speed.set(self.usual_speed(last));
        }
        self.playing.set(true);
        self.run.update_value(|run| *run = run.wrapping_add(1));
        let origin = Origin {
            run: self.run.get_value(),
            clock_ms: clock::milliseconds(),
            time_s: self.time(frame),
            end,
            shown: frame,
        };
        self.tick(origin);
    }

    /// The least of [`SPEEDS`] at which something happens within half a second.
    fn usual_speed(self, last: usize) -> f64 {
        let interval = (self.time(last) - self.time(0)) / last.max(1) as f64;
        let lively = SPEEDS.into_iter().find(|speed| interval / speed <= 0.5);
        lively.or(SPEEDS.last().copied()).unwrap_or(1.0)
    }

    fn time(self, frame: usize) -> f64 {
        let stated = untrack(|| self.desk.time_of(frame));
        stated.unwrap_or(frame as f64 / FRAMES_PER_SECOND)
    }

    fn frame_at(self, time_s: f64) -> usize {
        let stated = self.desk.timeline.with_untracked(|timeline| timeline.as_ref()?.frame_at(time_s));
        stated.unwrap_or((time_s * FRAMES_PER_SECOND) as usize)
    }

    fn tick(self, origin: Origin) {
        request_animation_frame(move || {
            // The page may have closed what was playing.
            let over = self.playing.try_get_untracked() != Some(true)
                || self.run.try_get_value() != Some(origin.run);
            if over || self.desk.opened.with_untracked(Option::is_none) {
                return;
            }
            if self.desk.frame.get_untracked() != origin.shown {
                self.start();
                return;
            }
            let elapsed = (clock::milliseconds() - origin.clock_ms) / 1000.0 * self.speed.get_untracked();
            let frame = self.frame_at(origin.time_s + elapsed).min(origin.end);
            if frame != self.desk.frame.get_untracked() {
                self.desk.frame.set(frame);
            }
            if frame >= origin.end {
                self.playing.set(false);
            } else {
                self.tick(Origin { shown: frame, ..origin });
            }
        });
    }
}
