//! Checks of what happens over time: warm-up, lock-in and its source, against simulations with known truth,
//! published laws, and what numpy, scipy and tifffile make of the same data (`tests/data/sequences/make.py`).

#[path = "sequences/lock_in.rs"]
mod lock_in;
#[path = "sequences/outside_values.rs"]
mod outside_values;
#[path = "sequences/warm_up.rs"]
mod warm_up;
