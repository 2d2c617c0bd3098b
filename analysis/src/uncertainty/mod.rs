//! How well is each temperature, and each difference, known?
//!
//! The measurement equation's inputs are known within limits ([`InputUncertainty`]). [`budget`] carries
//! them to one place, [`pictures`] to every pixel, both to first order with exact derivatives (JCGM 100:2008,
//! clause 5). In a difference, what both captures share is wrong in the same way on both sides: its two
//! effects are subtracted before they count, not added in squares. [`monte_carlo`] checks one place by drawing
//! the inputs (JCGM 101:2008), and [`skewed`] says where the first order is not enough. [`effort`] answers
//! what would make a place better known.
//!
//! # Simplifications
//! Inputs are uncorrelated with each other. An emissivity's error is common to all pixels of its finish.
//! Interpolation's smoothing of noise is not credited.

pub mod budget;
pub mod effort;
mod extremes;
pub mod inputs;
pub mod monte_carlo;
pub mod pictures;
pub mod skewed;

pub use budget::{Budget, Contribution, DifferencePlace, Input, TemperaturePlace};
pub use effort::{Effort, EffortGain, efforts};
pub use inputs::{CalibrationUncertainty, InputUncertainty, SharedInputs};
pub use monte_carlo::{Drawn, draw_temperatures};
pub use pictures::{Certainty, DifferenceSetting, certainty, expanded, is_measurable};
pub use skewed::{difference_margins, is_skewed, temperature_interval};
