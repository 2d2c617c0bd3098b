//! Units of one product that differ as real ones do, with at most one fault each.

use ndarray::Array2;
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;

use crate::capture::metadata::CapturePixels;
use crate::capture::{BoardIdentity, CaptureMetadata, CornerMark, Quantity, TestConditions};
use crate::frame::{ApparentKelvin, EmissivityFraction, Frame, FrameError, RawNumber, SurfaceKelvin};
use crate::geometry::{BoardMillimeters, Degenerate, Homography, Point};
use crate::units::{Kelvin, KelvinDifference, Millimeters, OutOfRange, TemperatureUnit};

use super::camera::{Camera, KELVIN_PER_COUNT, Pose, Reflected};
use super::conduction::{NotConverged, PlateField};
use super::scene::{BoardDesign, Scene};
use super::truth::SeededFault;

/// Why a unit could not be simulated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SimulationError {
    /// The conduction problem was not solved.
    #[error(transparent)]
    Conduction(#[from] NotConverged),
    /// The pose sees the board edge-on.
    #[error(transparent)]
    Pose(#[from] Degenerate),
    /// The camera has no pixels.
    #[error(transparent)]
    Picture(#[from] FrameError),
    /// A temperature or length left its range.
    #[error(transparent)]
    Quantity(#[from] OutOfRange),
    /// The fault names a part that the board lacks.
    #[error("the board has no part {designator} to put a fault into")]
    NoSuchPart {
        /// The designator asked for.
        designator: String,
    },
}

/// How much units and their captures differ: standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// Each part's power, as a fraction.
    pub part_power: f64,
    /// All powers of a unit together, as a fraction.
    pub total_power: f64,
    /// Ambient from capture to capture, K.
    pub ambient: f64,
    /// Error of the stated ambient, K.
    pub ambient_reading: f64,
    /// Placement of each part along x and y, mm.
    pub placement_mm: f64,
    /// Turn of each part, degrees.
    pub part_rotation: f64,
    /// Emissivity of a unit's bare metal, as a fraction.
    pub metal_emissivity: f64,
    /// Shift of the board in the picture, pixels.
    pub shift_px: f64,
    /// Turn of the board in the picture, degrees.
    pub roll: f64,
    /// Tilt about each axis, degrees.
    pub tilt: f64,
    /// Distance, as a fraction.
    pub distance: f64,
}

impl Default for Spread {
    /// Plausible for one production lot on one bench (invented, no source).
    fn default() -> Self {
        Self {
            part_power: 0.03,
            total_power: 0.012,
            ambient: 0.3,
            ambient_reading: 0.1,
            placement_mm: 0.05,
            part_rotation: 0.3,
            metal_emissivity: 0.03,
            shift_px: 3.0,
            roll: 0.8,
            tilt: 0.4,
            distance: 0.003,
        }
    }
}

impl Spread {
    /// Units that are all alike, always captured the same way.
    pub const NONE: Self = Self {
        part_power: 0.0,
        total_power: 0.0,
        ambient: 0.0,
        ambient_reading: 0.0,
        placement_mm: 0.0,
        part_rotation: 0.0,
        metal_emissivity: 0.0,
        shift_px: 0.0,
        roll: 0.0,
        tilt: 0.0,
        distance: 0.0,
    };
}

/// What is wrong with a unit.
#[derive(Debug, Clone, PartialEq)]
pub enum Fault {
    /// A working part dissipates more than it should.
    Hot {
        /// The part.
        designator: &'static str,
        /// Beyond its own power, W.
        extra_watts: f64,
    },
    /// A part dissipates nothing.
    Dead {
        /// The part.
        designator: &'static str,
    },
    /// A part that should be cool leaks current.
    Leaking {
        /// The part.
        designator: &'static str,
        /// What the leak dissipates, W.
        watts: f64,
    },
    /// Two planes touch inside the board, with no part above.
    BuriedShort {
        /// Where, mm.
        center: [f64; 2],
        /// Standard deviation of the heated place, mm.
        radius_mm: f64,
        /// What the short dissipates, W.
        watts: f64,
    },
}

/// One simulated capture and everything true of it.
#[derive(Debug, Clone)]
pub struct Simulated {
    /// As the file holds it.
    pub capture: Frame<RawNumber>,
    /// Apparent temperature after the optics, without noise.
    pub apparent_clean: Frame<ApparentKelvin>,
    /// Surface temperature at the pixels' centres.
    pub surface_truth: Frame<SurfaceKelvin>,
    /// Emissivity at the pixels' centres.
    pub emissivity_truth: Frame<EmissivityFraction>,
    /// Where the board lies in the picture.
    pub board_to_pixels: Homography<BoardMillimeters, CapturePixels>,
    /// True ambient, K; the metadata hold what the bench's thermometer read.
    pub ambient: Kelvin,
    /// Apparent temperature of the surroundings in the middle of the picture, K.
    pub reflected: Kelvin,
    /// What a person would write beside the capture.
    pub metadata: CaptureMetadata,
    /// The fault, if one was seeded.
    pub fault: Option<SeededFault>,
}

/// A product, the camera it is captured with, and how its units differ.
#[derive(Debug, Clone)]
pub struct Population {
    /// The product.
    pub design: BoardDesign,
    /// The camera.
    pub camera: Camera,
    /// How the units differ.
    pub spread: Spread,
    /// The pose that captures scatter about.
    pub pose: Pose,
    /// Mean ambient, K.
    pub ambient: Kelvin,
    /// Reflected apparent temperature minus ambient, K.
    pub reflected_offset: f64,
    /// Tilt of the reflected temperature across the picture, K.
    pub reflected_across: [f64; 2],
    /// Supply voltage, V.
    pub voltage: f64,
    /// Decides every unit.
    pub seed: u64,
}

/// What makes one unit this unit.
struct Unit {
    board: BoardDesign,
    metal_factor: f64,
    pose: Pose,
    ambient: f64,
    ambient_reading: f64,
    noise_seed: u64,
}

/// What a fault adds to a healthy unit.
struct Change {
    /// The unit's board, each part with the power that the fault adds to it.
    board: BoardDesign,
    /// The heat that the fault adds, W per cell of the plate.
    power_map: Array2<f64>,
}

impl Change {
    fn of(fault: &Fault, healthy: &BoardDesign) -> Result<Self, SimulationError> {
        let mut board = healthy.clone();
        for part in &mut board.parts {
            part.power = 0.0;
        }
        let (designator, watts) = match *fault {
            Fault::Hot { designator, extra_watts } => (designator, extra_watts),
            Fault::Leaking { designator, watts } => (designator, watts),
            Fault::Dead { designator } => (designator, -healthy.part(designator).map_or(0.0, |p| p.power)),
            Fault::BuriedShort { center, radius_mm, watts } => {
                let power_map = board.buried_power_map(center, radius_mm, watts);
                return Ok(Self { board, power_map });
            }
        };
        let part = board.parts.iter_mut().find(|part| part.designator == designator);
        let part = part.ok_or_else(|| SimulationError::NoSuchPart { designator: designator.to_owned() })?;
        part.power = watts;
        let power_map = board.power_map();
        Ok(Self { board, power_map })
    }

    /// Looks for the place where the surface changes most, a quarter of a millimetre at a time.
    fn describe(&self, fault: &Fault, extra: &PlateField) -> SeededFault {
        const STEP_MM: f64 = 0.25;
        let scene = Scene::new(&self.board, extra, 0.0);
        let [width, height] = self.board.size;
        let (columns, rows) = ((width / STEP_MM) as usize, (height / STEP_MM) as usize);
        let places = || {
            (0..rows * columns).map(|i| {
                let x = ((i % columns) as f64 + 0.5) * STEP_MM;
                let y = ((i / columns) as f64 + 0.5) * STEP_MM;
                (x, y, scene.at(x, y).temperature)
            })
        };
        let strongest = |a: (f64, f64, f64), b: (f64, f64, f64)| if b.2.abs() > a.2.abs() { b } else { a };
        let (x, y, peak) = places().fold((0.0, 0.0, 0.0), strongest);
        let above_half = places().filter(|(_, _, change)| change / peak > 0.5).count();
        let area = above_half as f64 * STEP_MM * STEP_MM;
        let (kind, designator) = match *fault {
            Fault::Hot { designator, .. } => ("hot", designator),
            Fault::Dead { designator } => ("dead", designator),
            Fault::Leaking { designator, .. } => ("leaking", designator),
            Fault::BuriedShort { .. } => ("buried-short", self.board.nearest_part(x, y)),
        };
        SeededFault {
            kind,
            designator: designator.to_owned(),
            place: Point::new(x, y),
            peak,
            width_mm: 2.0 * (area / std::f64::consts::PI).sqrt(),
        }
    }
}

/// The board's corners as a person would mark them in a picture: to a tenth of a pixel.
pub(super) fn marked_corners(
    size: [f64; 2],
    board_to_pixels: &Homography<BoardMillimeters, CapturePixels>,
) -> Vec<CornerMark<CapturePixels>> {
    let tenth = |v: f64| (v * 10.0).round() / 10.0;
    let corners = [[0.0, 0.0], [size[0], 0.0], size, [0.0, size[1]]].map(|[x, y]| {
        let board = Point::new(x, y);
        let pixel = board_to_pixels.apply(board);
        CornerMark { pixel: Point::new(tenth(pixel.x), tenth(pixel.y)), board }
    });
    corners.to_vec()
}

impl Population {
    /// Units of `design` before the default camera, at 23 °C.
    #[must_use]
    pub fn new(design: BoardDesign, seed: u64) -> Self {
        Self {
            design,
            camera: Camera::default(),
            spread: Spread::default(),
            pose: Pose::default(),
            ambient: Kelvin::ROOM,
            reflected_offset: -0.5,
            reflected_across: [0.4, -0.3],
            voltage: 12.0,
            seed,
        }
    }

    /// Unit number `index`, powered and settled, with `fault` put into it. The same index with and
    /// without a fault is the same unit captured in the same way, noise included.
    ///
    /// # Errors
    /// Every [`SimulationError`].
    pub fn unit(&self, index: u64, fault: Option<&Fault>) -> Result<Simulated, SimulationError> {
        let mut unit = self.draw(index);
        let plate = unit.board.plate();
        let mut rise = plate.steady_rise(&unit.board.power_map())?;
        let mut watts = unit.board.total_power();
        let mut seeded = None;
        if let Some(fault) = fault {
            // Conduction is linear: what the fault adds is a solution of its own.
            let change = Change::of(fault, &unit.board)?;
            let extra = plate.steady_rise(&change.power_map)?;
            seeded = Some(change.describe(fault, &extra));
            rise = rise.plus(&extra);
            watts += change.power_map.sum();
            for (part, changed) in unit.board.parts.iter_mut().zip(&change.board.parts) {
                part.power += changed.power;
            }
        }
        let conditions = TestConditions {
            voltage: Some(self.voltage),
            current: Some((watts / self.voltage * 1e4).round() / 1e4),
            frequency: None,
            warm_up_minutes: Some(30.0),
            notes: "lamp output on a dummy load with its own supply; steady state".to_owned(),
        };
        let serial = format!("unit {index}");
        self.capture(&unit, &rise, unit.ambient + self.reflected_offset, conditions, serial, seeded)
    }

    /// Unit number `index` without power, soaked at one temperature with its mat, in the pose of
    /// that unit's powered capture, while the surroundings stay at the usual ambient.
    ///
    /// # Errors
    /// Every [`SimulationError`].
    pub fn soaked(&self, index: u64, temperature: Kelvin) -> Result<Simulated, SimulationError> {
        let mut unit = self.draw(index);
        let reflected = unit.ambient + self.reflected_offset;
        unit.ambient = temperature.value();
        unit.ambient_reading = temperature.value();
        unit.noise_seed = unit.noise_seed.wrapping_add(1);
        for part in &mut unit.board.parts {
            part.power = 0.0;
        }
        let conditions = TestConditions {
            voltage: Some(0.0),
            current: Some(0.0),
            warm_up_minutes: Some(60.0),
            notes: "no power; board and mat soaked at one temperature".to_owned(),
            frequency: None,
        };
        let serial = format!("unit {index}");
        self.capture(&unit, &PlateField::level(0.0), reflected, conditions, serial, None)
    }

    fn draw(&self, index: u64) -> Unit {
        let mut generator = ChaCha8Rng::seed_from_u64(self.seed.wrapping_mul(1_000_003).wrapping_add(index));
        let mut scatter = |deviation: f64| -> f64 {
            let normal: f64 = generator.sample(StandardNormal);
            deviation * normal
        };
        let spread = &self.spread;
        let all = 1.0 + scatter(spread.total_power);
        let mut board = self.design.clone();
        for part in &mut board.parts {
            part.power *= all * (1.0 + scatter(spread.part_power));
            part.center[0] += scatter(spread.placement_mm);
            part.center[1] += scatter(spread.placement_mm);
            part.rotation += scatter(spread.part_rotation);
        }
        let pose = Pose {
            distance_mm: self.pose.distance_mm * (1.0 + scatter(spread.distance)),
            tilt_x: self.pose.tilt_x + scatter(spread.tilt),
            tilt_y: self.pose.tilt_y + scatter(spread.tilt),
            roll: self.pose.roll + scatter(spread.roll),
            shift: [
                self.pose.shift[0] + scatter(spread.shift_px),
                self.pose.shift[1] + scatter(spread.shift_px),
            ],
        };
        let metal_factor = 1.0 + scatter(spread.metal_emissivity);
        let ambient = self.ambient.value() + scatter(spread.ambient);
        let ambient_reading = ambient + scatter(spread.ambient_reading);
        let noise_seed = generator.random();
        Unit { board, metal_factor, pose, ambient, ambient_reading, noise_seed }
    }

    fn capture(
        &self,
        unit: &Unit,
        rise: &PlateField,
        reflected: f64,
        conditions: TestConditions,
        serial: String,
        fault: Option<SeededFault>,
    ) -> Result<Simulated, SimulationError> {
        let size = self.design.size;
        let board_to_pixels = self.camera.board_to_pixels(&unit.pose, size)?;
        let scene = Scene::new(&unit.board, rise, unit.ambient).with_metal_factor(unit.metal_factor);
        let surroundings = Reflected { middle: reflected, across: self.reflected_across };
        let picture = self.camera.look(&scene, &board_to_pixels, surroundings)?;
        let capture = self.camera.digitize(&picture.apparent_clean, unit.noise_seed)?;
        let middle = Point::new(size[0] / 2.0, size[1] / 2.0);
        let corners = marked_corners(size, &board_to_pixels);
        let metadata = CaptureMetadata {
            quantity: Some(Quantity::Temperature {
                unit: TemperatureUnit::Kelvin,
                scale: KELVIN_PER_COUNT,
                offset: 0.0,
                camera_correction: None,
            }),
            band: Some(self.camera.band),
            netd: Some(KelvinDifference::new(self.camera.netd)?),
            ambient: Some(Kelvin::new((unit.ambient_reading * 100.0).round() / 100.0)?),
            distance: Some((unit.pose.distance_mm / 1e3 * 1e3).round() / 1e3),
            pixel_pitch: Some(Millimeters::new((1e4 / board_to_pixels.scale_at(middle)).round() / 1e4)?),
            conditions,
            board: BoardIdentity { product: self.design.product.to_owned(), serial },
            corners,
            stuck_pixels: self.camera.stuck_pixels.clone(),
            notes: "Simulated: no real board, no real camera.".to_owned(),
            invented: true,
            ..CaptureMetadata::default()
        };
        Ok(Simulated {
            capture,
            apparent_clean: picture.apparent_clean,
            surface_truth: picture.surface_truth,
            emissivity_truth: picture.emissivity_truth,
            board_to_pixels,
            ambient: Kelvin::new(unit.ambient)?,
            reflected: Kelvin::new(reflected)?,
            metadata,
            fault,
        })
    }
}
