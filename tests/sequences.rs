//! Checks of what happens over time: warm-up, lock-in and its source, against simulations with known truth,
//! published laws, and what numpy, scipy and tifffile make of the same data (`tests/data/sequences/make.py`).

#[path = "sequences/frame_sources.rs"]
mod frame_sources;
#[path = "sequences/lock_in.rs"]
mod lock_in;
#[path = "sequences/outside_values.rs"]
mod outside_values;
#[path = "sequences/trend_export.rs"]
mod trend_export;
#[path = "sequences/warm_up.rs"]
mod warm_up;
#[path = "sequences/warm_up_findings.rs"]
mod warm_up_findings;
