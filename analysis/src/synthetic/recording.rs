//! An invented recording: a board is switched on, warms up, and later one of its parts gets more power.
//!
//! Simplification: the plate's rise has one time constant and the bodies' rise above it another, each the same
//! everywhere, so that the truth is known in closed form; a real plate has many.

use crate::capture::{BenchEvent, BoardIdentity, CaptureMetadata, FrameTimes, Quantity, TestConditions};
use crate::frame::{Frame, RawNumber};
use crate::units::{Kelvin, KelvinDifference, TemperatureUnit};

use super::beacon_board::beacon_board;
use super::camera::{Camera, KELVIN_PER_COUNT, Pose, Reflected};
use super::population::{SimulationError, marked_corners};
use super::scene::Scene;

/// Time constant of the plate, s.
pub const PLATE_SECONDS: f64 = 150.0;
/// Time constant of the bodies above the plate, s.
pub const BODY_SECONDS: f64 = 14.0;
/// The part that gets more power.
pub const STEPPED: &str = "Q2";

const FRAMES: usize = 48;
const INTERVAL_S: f64 = 15.0;
const STEP_S: f64 = 405.0;
const EXTRA_WATTS: f64 = 0.25;
const VOLTAGE: f64 = 12.0;

/// A recording and what is known of it.
#[derive(Debug, Clone)]
pub struct Recording {
    /// Its frames, in counts.
    pub frames: Vec<Frame<RawNumber>>,
    /// What its sidecar says.
    pub metadata: CaptureMetadata,
}

/// How much of a step at `since` is there by now.
fn risen(time_s: f64, since_s: f64, time_constant_s: f64) -> f64 {
    if time_s <= since_s { 0.0 } else { 1.0 - (-(time_s - since_s) / time_constant_s).exp() }
}

/// The recording of the invented beacon controller, 160 × 120 pixels.
///
/// # Errors
/// Every [`SimulationError`].
pub fn warm_up_recording() -> Result<Recording, SimulationError> {
    let usual = Camera::default();
    let camera = Camera {
        rows: usual.rows / 4,
        columns: usual.columns / 4,
        focal_px: usual.focal_px / 4.0,
        drift: 0.01,
        stuck_pixels: Vec::new(),
        ..usual
    };
    let design = beacon_board();
    let plate = design.plate();
    let ambient = Kelvin::ROOM.value();
    let all = plate.steady_rise(&design.power_map())?;
    let mut stepped = design.clone();
    stepped.parts.iter_mut().for_each(|part| {
        part.power = if part.designator == STEPPED { EXTRA_WATTS } else { 0.0 };
    });
    let extra = plate.steady_rise(&stepped.power_map())?;
    let board_to_pixels = camera.board_to_pixels(&Pose::default(), design.size)?;
    let reflected = Reflected { middle: ambient - 0.5, across: [0.0, 0.0] };
    let mut frames = Vec::with_capacity(FRAMES);
    for number in 0..FRAMES {
        let time = number as f64 * INTERVAL_S;
        let plate_rise =
            all.times(risen(time, 0.0, PLATE_SECONDS)).plus(&extra.times(risen(time, STEP_S, PLATE_SECONDS)));
        let mut now = design.clone();
        for (part, more) in now.parts.iter_mut().zip(&stepped.parts) {
            let body = |since| risen(time, since, BODY_SECONDS);
            part.power = part.power * body(0.0) + more.power * body(STEP_S);
        }
        let scene = Scene::new(&now, &plate_rise, ambient);
        let seen = camera.look(&scene, &board_to_pixels, reflected)?;
        frames.push(camera.digitize(&seen.apparent_clean, number as u64)?);
    }
    let current = |watts: f64| Some((watts / VOLTAGE * 1e4).round() / 1e4);
    let watts = design.total_power();
    let event = |at_s, name: &str, voltage, current| BenchEvent {
        at_s,
        name: name.to_owned(),
        voltage,
        current,
        frequency: None,
    };
    let metadata = CaptureMetadata {
        quantity: Some(Quantity::Temperature {
            unit: TemperatureUnit::Kelvin,
            scale: KELVIN_PER_COUNT,
            offset: 0.0,
            camera_correction: None,
        }),
        frame_times: Some(FrameTimes::Interval(INTERVAL_S)),
        events: vec![
            event(0.0, "power on", Some(VOLTAGE), current(watts)),
            event(STEP_S, "lamp load step", None, current(watts + EXTRA_WATTS)),
        ],
        band: Some(camera.band),
        netd: Some(KelvinDifference::new(camera.netd)?),
        ambient: Some(Kelvin::ROOM),
        time: "2026-10-14T15:00:00+02:00".to_owned(),
        conditions: TestConditions { notes: "lamp output on a dummy load".to_owned(), ..Default::default() },
        board: BoardIdentity { product: design.product.to_owned(), serial: "unit 21".to_owned() },
        corners: marked_corners(design.size, &board_to_pixels),
        notes: "Simulated: no real board, no real camera.".to_owned(),
        invented: true,
        ..CaptureMetadata::default()
    };
    Ok(Recording { frames, metadata })
}
