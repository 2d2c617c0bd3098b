//! What happens over time: frames by index, trends of places, warm-up, triggers and lock-in.
//!
//! Works on frames and plain series of numbers; knows nothing of where the bytes come from.

mod batch_sums;
pub mod frame_file;
pub mod frame_series;
pub mod frames;
mod least_squares;
pub mod lock_in;
mod normal_equations;
mod picture_run;
mod pixel_regression;
pub mod place_sample;
pub mod point_source;
pub mod reference_signal;
pub mod several_frames;
pub mod timeline;
pub mod trend;
pub mod trend_table;
mod trend_workbook;
pub mod trigger;
pub mod warm_up;
pub mod warm_up_findings;
pub mod warm_up_maps;

pub use frame_file::FrameFile;
pub use frame_series::FrameSeries;
pub use frames::{FrameProblem, FrameSource};
pub use lock_in::{
    Drift, HarmonicMaps, LagRadians, LockIn, LockInError, LockInMaps, LockInSettings, Reference,
};
pub use place_sample::PlaceSample;
pub use point_source::{PointSource, UncertaintyEllipse, locate_source};
pub use reference_signal::{
    EstimatedReference, FEWEST_PERIODS, NoRhythm, detectable_amplitude, diffusion_length_mm,
    estimate_reference, frames_for_floor, frequency_for_length, noise_floor, reference_from_events,
};
pub use several_frames::{Piece, Several, SeveralFrames};
pub use timeline::{Gap, Timeline, TimelineError, walk};
pub use trend::{Place, PlaceReader, SpanPictures, SpanSummary, rate_of_change};
pub use trend_table::{
    TableCell, TableFrame, TableQuantity, TableRegion, TrendColumn, TrendTable, TrendTableError,
};
pub use trigger::{Crossing, Trigger, Triggered, find_triggers};
pub use warm_up::{Decay, Stability, WarmUp, WarmUpError, fit_alike, fit_warm_up, stable_since};
pub use warm_up_findings::{
    OpenComparison, OpenReason, PartWarmUps, WarmUpComparison, WarmUpCriteria, WarmUpFinding, WarmUpQuantity,
    compare_warm_ups,
};
pub use warm_up_maps::{PixelWarmUp, Seconds, WarmUpMaps, WarmUpMapsError};
