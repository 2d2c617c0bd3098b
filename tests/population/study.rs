//! The simulated study: how many faults are found, how many good boards are called sick.

use analysis::content_hash::ContentHash;
use analysis::population::{FalseAlarms, FurtherUncertainty, GoodBoard, PopulationBaseline, UnitJudgement};
use analysis::synthetic::Fault;
use analysis::units::KelvinDifference;

use super::simulated::{Bench, Corrected};

/// A kind of fault and where it may sit.
pub struct Kind {
    pub name: &'static str,
    /// The fault at a place, with so many watts.
    pub make: fn(usize, f64) -> Fault,
    pub places: usize,
    pub sign: f64,
    /// A fault under no part is named by its place: within this many millimetres. `None` where the part counts.
    pub within_mm: Option<f64>,
}

const WARM: [&str; 14] =
    ["U1", "U2", "U3", "U6", "U7", "U8", "Q2", "D2", "D3", "R1", "L1", "T1", "C14", "R7"];
const COOLED: [&str; 8] = ["U1", "U2", "U3", "U6", "U7", "Q2", "D2", "R1"];
const BARE: [[f64; 2]; 5] = [[36.0, 38.5], [31.5, 27.0], [42.0, 22.0], [84.0, 38.0], [65.0, 54.0]];

pub const KINDS: [Kind; 4] = [
    Kind {
        name: "hot part",
        make: |place, watts| Fault::Hot { designator: WARM[place], extra_watts: watts },
        places: WARM.len(),
        sign: 1.0,
        within_mm: None,
    },
    Kind {
        name: "cold part",
        make: |place, watts| Fault::Hot { designator: COOLED[place], extra_watts: watts },
        places: COOLED.len(),
        sign: -1.0,
        within_mm: None,
    },
    Kind {
        name: "short between planes",
        make: |place, watts| Fault::BuriedShort { center: BARE[place], radius_mm: 4.0, watts },
        places: BARE.len(),
        sign: 1.0,
        within_mm: Some(4.0),
    },
    Kind {
        name: "weak and wide",
        make: |place, watts| Fault::BuriedShort { center: BARE[place], radius_mm: 12.0, watts },
        places: BARE.len(),
        sign: 1.0,
        within_mm: Some(12.0),
    },
];

/// The watts that make a fault's peak one kelvin: conduction is linear.
pub fn watts_per_kelvin(bench: &Bench, kind: &Kind, place: usize) -> f64 {
    let mut population = bench.population.clone();
    // Only the truth is wanted: a picture of a few pixels does.
    (population.camera.rows, population.camera.columns) = (8, 8);
    population.camera.stuck_pixels.clear();
    let fault = (kind.make)(place, 0.1);
    0.1 / population.unit(0, Some(&fault)).unwrap().fault.unwrap().peak
}

pub fn learn(bench: &Bench, good: &[Corrected]) -> PopulationBaseline {
    let boards: Vec<GoodBoard<'_>> = good
        .iter()
        .map(|board| GoodBoard {
            serial: board.simulated.metadata.board.serial.clone(),
            capture: ContentHash::of(board.simulated.metadata.board.serial.as_bytes()),
            temperature: &board.surface,
            ambient: board.ambient,
        })
        .collect();
    PopulationBaseline::learn(&boards, Some(&bench.emissivity), &bench.footprints()).unwrap()
}

pub fn judge(baseline: &PopulationBaseline, unit: &Corrected, per_hundred: f64) -> UnitJudgement {
    let further = FurtherUncertainty { noise: KelvinDifference::ZERO, misalignment_px: 0.0 };
    baseline
        .judge(
            &unit.surface,
            further,
            FalseAlarms { per_hundred_good_boards: per_hundred, ..FalseAlarms::default() },
        )
        .unwrap()
}
