//! Corrected frames that are kept for a while, within a stated budget of memory.

use std::collections::VecDeque;
use std::sync::Arc;

use analysis::frame::{Frame, SurfaceKelvin};

/// The least recently used frame goes first.
#[derive(Debug)]
pub struct FrameCache {
    budget: usize,
    /// The most recently used last.
    frames: VecDeque<(usize, Arc<Frame<SurfaceKelvin>>)>,
}

impl FrameCache {
    /// An empty cache of so many bytes of pixels.
    #[must_use]
    pub const fn new(budget: usize) -> Self {
        Self { budget, frames: VecDeque::new() }
    }

    /// A frame, if it is here.
    pub fn get(&mut self, frame: usize) -> Option<Arc<Frame<SurfaceKelvin>>> {
        let place = self.frames.iter().position(|(known, _)| *known == frame)?;
        let found = self.frames.remove(place)?;
        let pixels = Arc::clone(&found.1);
        self.frames.push_back(found);
        Some(pixels)
    }

    /// Whether a frame is here.
    #[must_use]
    pub fn holds(&self, frame: usize) -> bool {
        self.frames.iter().any(|(known, _)| *known == frame)
    }

    /// Keeps a frame, and lets others go where the budget asks for it. At least one is kept.
    pub fn keep(&mut self, frame: usize, pixels: Arc<Frame<SurfaceKelvin>>) {
        let size = size_of_val(pixels.as_slice()).max(1);
        let most = (self.budget / size).max(1);
        while self.frames.len() >= most {
            self.frames.pop_front();
        }
        self.frames.push_back((frame, pixels));
    }

    /// Lets all go, as when they are corrected otherwise.
    pub fn clear(&mut self) {
        self.frames.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame() -> Arc<Frame<SurfaceKelvin>> {
        Arc::new(Frame::from_rows(2, 2, vec![300.0; 4]).unwrap())
    }

    #[test]
    fn the_frame_that_was_used_longest_ago_makes_room() {
        // Three frames of 16 bytes.
        let mut cache = FrameCache::new(48);
        (0..3).for_each(|number| cache.keep(number, frame()));
        assert!(cache.get(0).is_some());
        cache.keep(3, frame());
        assert!(cache.holds(0) && !cache.holds(1) && cache.holds(2) && cache.holds(3));
    }

    #[test]
    fn a_frame_beyond_the_budget_is_kept_alone() {
        let mut cache = FrameCache::new(1);
        cache.keep(0, frame());
        cache.keep(1, frame());
        assert!(cache.holds(1) && !cache.holds(0));
    }
}
