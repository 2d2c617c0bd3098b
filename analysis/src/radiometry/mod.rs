//! From radiance to temperature and back: Planck's law over the camera's band, the measurement
//! equation, and calibrations of raw counts.
//!
//! Simplifications: the band's response is flat between its limits; surfaces are opaque and grey
//! within the band; surroundings are uniform at one reflected apparent temperature.

pub mod band;
pub mod band_table;
pub mod calibration;
pub mod calibration_fit;
pub mod correction;
pub mod planck;
pub mod set_points;
pub mod shares;

pub use band::Band;
pub use band_table::BandTable;
pub use calibration::{Calibration, InvalidCalibration, Signal};
pub use calibration_fit::{
    CalibrationFit, FitForm, FittedParameter, FittedTemperature, NoFit, fit_calibration,
};
pub use correction::{
    Corrected, Correction, EmissivityUnknown, NoPhysicalAnswer, Rejected, Sensitivity, Surroundings,
    apparent_picture, apparent_temperature, correct, emissivity_of, sensitivity, surface_temperature,
};
pub use planck::{BandRadiance, band_fraction, band_radiance, band_temperature, spectral_radiance};
pub use set_points::{SetPoint, SetPointsUnreadable, read_set_points};
