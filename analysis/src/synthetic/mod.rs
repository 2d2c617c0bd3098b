//! Invented boards with known truth: a small simulator of powered boards in front of an infrared
//! camera, for tests and for the sample captures.
//!
//! A [`BoardDesign`] says where parts sit, what they are made of and what they dissipate; steady
//! conduction in the plane of the board ([`conduction`]) yields its temperature; a [`Camera`] sees
//! it by the same measurement equation that the rest of the crate inverts, from a [`Pose`], through
//! blurring optics, with noise. [`Population`] draws units that differ as real ones do and seeds
//! one fault in them. Everything follows from seeds: the same seed gives the same picture.
//!
//! Simplifications: the board is a thin plate (no gradient through its thickness) with one film
//! coefficient; all heat of a part enters the board under its body; parts have no height; a body's
//! temperature profile is a fixed dome; surfaces are opaque, grey and diffuse; the reflected
//! surroundings are uniform or tilt slightly across the picture.

pub mod beacon_board;
pub mod camera;
pub mod conduction;
pub mod population;
pub mod recording;
pub mod sample_set;
pub mod scene;
pub mod truth;

pub use beacon_board::beacon_board;
pub use camera::{Camera, Pose};
pub use population::{Fault, Population, Simulated, SimulationError, Spread};
pub use recording::{Recording, warm_up_recording};
pub use sample_set::{Condition, Sample, sample_population, samples};
pub use scene::{BoardDesign, Pour, SurfaceMaterial};
pub use truth::{RegistrationError, SeededFault, registration_error, true_alignment};
