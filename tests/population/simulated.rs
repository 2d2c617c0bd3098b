//! Simulated boards as corrected pictures in one pixel frame.
//!
//! Reduced cost: every capture is taken in one pose but for what an alignment would leave over, so
//! nothing has to be aligned or warped.

use analysis::board::{Footprint, Side, footprints};
use analysis::frame::{ApparentKelvin, EmissivityFraction, Frame, SurfaceKelvin};
use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography};
use analysis::population::{BLUR_REACH, without_metal};
use analysis::radiometry::{BandTable, Surroundings, correct};
use analysis::synthetic::{BoardDesign, Fault, Population, Simulated, Spread, beacon_board};
use analysis::units::Kelvin;
use std::ops::Range;

/// Captures that differ as the acceptance asks: 3 % part power, 1.5 % total power, 0.3 K ambient,
/// 0.08 mm placement; 0.1 pixels left over by the alignment.
pub const SPREAD: Spread = Spread {
    part_power: 0.03,
    total_power: 0.015,
    ambient: 0.3,
    ambient_reading: 0.1,
    placement_mm: 0.08,
    part_rotation: 0.3,
    metal_emissivity: 0.03,
    shift_px: 0.1,
    roll: 0.0,
    tilt: 0.0,
    distance: 0.0,
};

/// One product on one bench.
pub struct Bench {
    pub population: Population,
    pub emissivity: Frame<EmissivityFraction>,
    pub board_to_picture: Homography<BoardMillimeters, BaselinePixels>,
    table: BandTable,
}

/// A capture, corrected.
pub struct Corrected {
    pub surface: Frame<SurfaceKelvin>,
    /// As the bench's thermometer read it.
    pub ambient: Kelvin,
    pub simulated: Simulated,
}

impl Bench {
    pub fn new(spread: Spread, seed: u64) -> Self {
        Self::of(beacon_board(), spread, seed)
    }

    pub fn of(design: BoardDesign, spread: Spread, seed: u64) -> Self {
        let mut population = Population::new(design, seed);
        population.spread = spread;
        population.camera.drift = 0.2;
        // An edge along the pixels' rows would pass a whole row of sample points at once, and jump.
        population.camera.samples_per_side = 4;
        population.pose.roll = 4.0;
        // The picture of emissivities that a person sets up once for a product: that of its drawing.
        let mut drawing = population.clone();
        drawing.spread = Spread::NONE;
        let drawing = drawing.unit(0, None).unwrap();
        let matrix: [f64; 9] = drawing.board_to_pixels.clone().into();
        Self {
            table: BandTable::new(population.camera.band),
            population,
            emissivity: drawing.emissivity_truth,
            board_to_picture: Homography::try_from(matrix).unwrap(),
        }
    }

    /// Other ambient and power for the captures to come.
    pub fn changed(&self, ambient: f64, power: f64) -> Population {
        let mut population = self.population.clone();
        population.ambient = Kelvin::new(population.ambient.value() + ambient).unwrap();
        for part in &mut population.design.parts {
            part.power *= power;
        }
        population
    }

    /// Without bare metal.
    pub fn trusted(&self, capture: &Corrected) -> Frame<SurfaceKelvin> {
        without_metal(&capture.surface, &self.emissivity, BLUR_REACH).unwrap()
    }

    pub fn footprints(&self) -> Vec<Footprint> {
        footprints(&self.population.design.placements(), Side::Top, &self.board_to_picture)
    }

    pub fn unit(&self, index: u64, fault: Option<&Fault>) -> Corrected {
        self.unit_of(&self.population, index, fault)
    }

    /// Several healthy units.
    pub fn units(&self, numbers: Range<u64>) -> Vec<Corrected> {
        std::thread::scope(|scope| {
            let units: Vec<_> = numbers.map(|index| scope.spawn(move || self.unit(index, None))).collect();
            units.into_iter().map(|unit| unit.join().unwrap()).collect()
        })
    }

    pub fn unit_of(&self, population: &Population, index: u64, fault: Option<&Fault>) -> Corrected {
        let simulated = population.unit(index, fault).unwrap();
        let mut kelvin = simulated.capture.view().mapv(|counts| counts * 0.01);
        for [x, y] in &population.camera.stuck_pixels {
            kelvin[(*y as usize, *x as usize)] = f32::NAN;
        }
        let ambient = simulated.metadata.ambient.unwrap();
        // The surroundings follow the stated ambient, not the true one.
        let reflected = Kelvin::new(ambient.value() + population.reflected_offset).unwrap();
        let surroundings = Surroundings { reflected, ..Surroundings::default() };
        let apparent = Frame::<ApparentKelvin>::new(kelvin).unwrap();
        let surface = correct(&apparent, &self.emissivity, &surroundings, &self.table).unwrap().temperature;
        Corrected { surface, ambient, simulated }
    }
}
