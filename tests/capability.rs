//! What a camera and a bench can tell apart, against simulated captures with known components.

#[path = "capability/camera.rs"]
mod camera;
#[path = "capability/repeats.rs"]
mod repeats;
