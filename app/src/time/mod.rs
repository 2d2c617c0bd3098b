//! Recordings: many frames over time, looked at, followed and judged.
//!
//! Its frames are no part of the session: a recording is as large as a disk allows, and is read piece by piece by a
//! worker of its own. What is said of it and marked in it is (`notes`), under its files' name and size; what is pulled
//! out of it becomes a capture like any other.

pub mod fit_parcel;
pub mod moment;
pub mod protocol;
pub mod series;

mod drift_search;
pub mod frame_cache;
mod recording;
mod runs;
pub mod worker_bench;

mod arrival;
mod board_map;
pub mod desk;
mod engine;
mod forgetting;
mod notes;
pub mod picture;
mod pulled;

mod holding;
mod playback;
pub mod timeline;

pub mod curves;
pub mod export;
pub mod time_chart;
pub mod trends;

pub mod live_folder;
pub mod lock_in;
pub mod triggers;
pub mod warm_up;

pub mod panels;
