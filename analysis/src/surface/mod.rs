//! The board's surface: which emissivity each pixel of the baseline frame is corrected with, and why.

pub mod emissivity_map;
pub mod emitting;
pub mod material;
pub mod outline;
pub mod region;

pub use emissivity_map::{
    DecidedBy, emissivities_of, emissivity_map, emissivity_uncertainties_of, emissivity_uncertainty_map,
    finish_at,
};
pub use emitting::{quantile_of_emitting, range_of_emitting};
pub use material::{MATERIALS, Material, SOLDER_MASK, material};
pub use outline::{Bounds, Outline};
pub use region::{Finish, Measured, PlacedOutline, Region, Surface};
