//! From radiance to temperature and back: Planck's law over the camera's band, the measurement
//! equation, and calibrations of raw counts.
//!
//! Simplifications: the band's response is flat between its limits; surfaces are opaque and grey
//! within the band; surroundings are uniform at one reflected apparent temperature.

pub mod band;
pub mod calibration;
pub mod correction;
pub mod planck;

pub use band::Band;
pub use calibration::Calibration;
pub use correction::{Correction, Surroundings};
