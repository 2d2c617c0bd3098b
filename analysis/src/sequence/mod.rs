//! What happens over time: frames by index, trends of places, warm-up, triggers and lock-in.
//!
//! Works on frames and plain series of numbers; knows nothing of where the bytes come from.

pub mod frames;
mod least_squares;
pub mod lock_in;
mod pixel_regression;
pub mod point_source;
pub mod reference_signal;
pub mod several_frames;
pub mod timeline;
pub mod trend;
pub mod trigger;
pub mod warm_up;
pub mod warm_up_maps;

pub use frames::{FrameFile, FrameProblem, FrameSeries, FrameSource};
pub use lock_in::{
    Drift, HarmonicMaps, LagRadians, LockIn, LockInError, LockInMaps, LockInSettings, Reference,
};
pub use point_source::{PointSource, UncertaintyEllipse, locate_source};
pub use reference_signal::{
    EstimatedReference, detectable_amplitude, diffusion_length_mm, estimate_reference, frames_for_floor,
    frequency_for_length, noise_floor, reference_from_events,
};
pub use several_frames::{Piece, Several, SeveralFrames};
pub use timeline::{Gap, Timeline, TimelineError, walk};
pub use trend::{Place, PlaceReader, PlaceSample, SpanPictures, SpanSummary, rate_of_change};
pub use trigger::{Crossing, Trigger, Triggered, find_triggers};
pub use warm_up::{Decay, Stability, WarmUp, WarmUpError, fit_warm_up, stable_since};
pub use warm_up_maps::{PixelWarmUp, Seconds, WarmUpMaps, WarmUpMapsError};
