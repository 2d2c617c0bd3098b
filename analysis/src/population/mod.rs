//! Is a unit different, or only another healthy board?
//!
//! Healthy boards differ among themselves: ambient, supply, parts' powers and places. This module
//! learns from several good boards how much ([`baseline`]), takes out of a unit what the bench
//! changed ([`nuisance`]) and says what is left beyond what another good board would show.
//!
//! Works on corrected pictures in one pixel frame; knows nothing of files, sessions or screens.

pub mod nuisance;
mod summed_area;
pub mod trusted;

pub use nuisance::{Estimate, NuisanceError, NuisanceFit, fit_nuisance};
pub use trusted::without_metal;
