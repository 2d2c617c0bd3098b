//! Checks of what happens over time: warm-up, lock-in and its source, against simulations with known truth,
//! published laws, and what numpy, scipy and tifffile make of the same data (`tests/data/sequences/make.py`).

#[path = "sequences/warm_up.rs"]
mod warm_up;
