//! Boardglow's core: from infrared captures of a powered board to findings and a result file.
//!
//! # Scope
//! Reads captures in open formats ([`capture`]), turns raw numbers into the temperature of the
//! surface ([`radiometry`], [`surface`]), brings the unit under test onto the baseline's pixels
//! ([`registration`]), finds and names what differs ([`inspection`], [`board`]), keeps what the
//! person did ([`session`]) and writes it down ([`result`]). Beside that: measured values in place of
//! guessed ones ([`procedure`]), and what the bench itself can tell apart ([`capability`]). Pure: bytes
//! and arrays in, values out; no clock, files, threads or globals. It knows nothing of any screen.
//!
//! # Conventions
//! Temperatures are kelvin, arrays are `[row, column]`, points are (x, y) with pixel centres at
//! integers, an invalid pixel is NaN inside a [`frame::Frame`].
//!
//! # Reading order
//! The modules below, from the ground up; each imports only from those above it.

pub mod board;
pub mod capability;
pub mod capture;
pub mod comparison;
pub mod content_hash;
pub mod frame;
pub mod geometry;
pub mod gradient;
pub mod homography_fit;
pub mod inspection;
pub mod measured_place;
pub mod noise;
pub mod palette;
pub mod population;
pub mod procedure;
pub mod propagation;
mod quantile;
pub mod radiometry;
pub mod recorded_frame;
pub mod registration;
pub mod repeat_study;
pub mod result;
pub mod sequence;
pub mod session;
pub mod soaked_board;
pub mod surface;
#[cfg(feature = "synthetic")]
pub mod synthetic;
pub mod uncertainty;
pub mod units;
