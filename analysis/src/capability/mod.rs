//! What this camera on this bench can tell apart: its noise, its faulty pixels, its unevenness, its drift,
//! and the smallest difference between two captures that means anything.

pub mod camera_noise;
pub mod components;
pub mod drift;
pub mod flat_field;
pub mod repeatability;
mod smooth_shape;

pub use camera_noise::{CameraNoise, NoNoise, Scene, SpatialNoise, camera_noise, spatial_noise};
pub use components::{Component, Components, NoComponents, RegionComponents, Trend, components};
pub use drift::{DriftOffset, NoDrift, drift_offset};
pub use flat_field::{FlatField, Flattening, NoFlatField};
pub use repeatability::{
    Limit, NoStudy, RegionLimit, RegionPixels, Repeatability, RepeatabilitySettings, RepeatabilityWarning,
    repeatability,
};
