//! What happens over time: frames by index, trends of places, warm-up, triggers and lock-in.
//!
//! Works on frames and plain series of numbers; knows nothing of where the bytes come from.

pub mod frames;
pub mod lock_in;
pub mod trend;

pub use frames::{FrameFile, FrameProblem, FrameSeries, FrameSource};
pub use lock_in::{
    Drift, HarmonicMaps, LagRadians, LockIn, LockInError, LockInMaps, LockInSettings, Reference,
};
pub use trend::{Place, PlaceReader, PlaceSample, SpanPictures, SpanSummary, rate_of_change};
