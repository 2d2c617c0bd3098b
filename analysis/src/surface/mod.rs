//! The board's surface: which emissivity each pixel of the baseline frame is corrected with, and why.

pub mod material;
pub mod region;

pub use material::Material;
pub use region::{Finish, Outline, Region, Surface};
