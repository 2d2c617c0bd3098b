//! The board as it was designed: where each part sits, what it may reach, and how that lies on the picture.

pub mod limits;
pub mod placement;

pub use limits::{PartLimit, ThermalPath};
pub use placement::{Placement, Side};
