//! The simulated study: how many faults are found, how many good boards are called sick.

use analysis::content_hash::ContentHash;
use analysis::population::{
    Anomaly, BoardPlate, FalseAlarms, FurtherUncertainty, GoodBoard, HeatSource, PopulationBaseline,
    UnitJudgement,
};
use analysis::synthetic::{Fault, Population};
use analysis::units::KelvinDifference;

use super::simulated::{Bench, Corrected, SPREAD};
use std::ops::Range;
use std::sync::LazyLock;

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

/// With faults and the bench's change told apart, as the page does it.
pub fn judge_apart(
    bench: &Bench,
    baseline: &PopulationBaseline,
    unit: &Corrected,
) -> (UnitJudgement, Vec<HeatSource>) {
    let board = BoardPlate { size_mm: bench.population.design.size, film: 21.0, sheet_conductance: None };
    let board = Some((&bench.board_to_picture, board));
    baseline.judge_apart(&unit.surface, FurtherUncertainty::default(), FalseAlarms::default(), board).unwrap()
}

/// Ten good boards of one lot and what was learned from them.
pub struct Lot {
    pub bench: Bench,
    pub good: Vec<Corrected>,
    pub baseline: PopulationBaseline,
}

/// The lot that several checks share: simulating it takes longer than most of them.
pub static TEN_GOOD_BOARDS: LazyLock<Lot> = LazyLock::new(|| {
    let bench = Bench::new(SPREAD, 404);
    let good = bench.units(1..11);
    let baseline = learn(&bench, &good);
    Lot { bench, good, baseline }
});

/// What good boards were called.
#[derive(Debug, Default)]
pub struct Alarms {
    pub findings: usize,
    /// Boards with any.
    pub boards: usize,
}

/// What the page would list as findings, surest first: the sources.
pub fn findings(bench: &Bench, baseline: &PopulationBaseline, unit: &Corrected) -> Vec<Anomaly> {
    let (judged, sources) = judge_apart(bench, baseline, unit);
    sources.iter().map(|source| judged.anomalies[source.anomaly].clone()).collect()
}

/// Judges good boards that the baseline has not seen, taken as `population` says.
pub fn false_alarms(
    bench: &Bench,
    baseline: &PopulationBaseline,
    population: &Population,
    units: Range<u64>,
) -> Alarms {
    let mut alarms = Alarms::default();
    for index in units {
        let found = findings(bench, baseline, &bench.unit_of(population, index, None));
        alarms.findings += found.len();
        alarms.boards += usize::from(!found.is_empty());
        for anomaly in &found {
            println!(
                "  false: {index} {:?} {:+.2} K u {:.2} also {:?}",
                anomaly.nearest, anomaly.difference, anomaly.standard_uncertainty, anomaly.also
            );
        }
    }
    alarms
}

/// What became of seeded faults.
#[derive(Debug, Default)]
pub struct Faults {
    pub tried: usize,
    pub found: usize,
    /// Found, the surest of its sign, and with the right part or, of a short, at the right place.
    pub named: usize,
    /// Findings on the same boards that the fault did not make.
    pub others: usize,
    /// Peak differences over the true ones, less one.
    errors: Vec<f64>,
    /// The same once what the same unit shows there without its fault is taken off: of two boards nobody knows that.
    own: Vec<f64>,
    /// Errors of the peak over its stated standard uncertainty.
    standing: Vec<f64>,
}

impl Faults {
    /// Puts a fault of so many watts into unit number `index` and judges it.
    pub fn add(
        &mut self,
        bench: &Bench,
        baseline: &PopulationBaseline,
        (kind, place, watts): (&Kind, usize, f64),
        index: u64,
    ) {
        self.tried += 1;
        let faulty = bench.unit(index, Some(&(kind.make)(place, kind.sign * watts)));
        let truth = faulty.simulated.fault.clone().unwrap();
        let found = findings(bench, baseline, &faulty);
        // A finding elsewhere on the board is a false one, whatever its sign.
        let away = |peak| bench.board_to_picture.inverse().apply(peak).distance(truth.place);
        let reach = kind.within_mm.unwrap_or(8.0).max(8.0);
        for place in found.iter().filter(|place| away(place.peak) > reach) {
            self.others += 1;
            println!(
                "  elsewhere: {:?} {:+.2} K u {:.2} at {:.1} mm, p {:.1e}, beside {} ({:+.2} K)",
                place.designator,
                place.difference,
                place.standard_uncertainty,
                away(place.peak),
                place.probability,
                truth.designator,
                truth.peak
            );
        }
        let mut alike = found.iter().filter(|a| a.difference.signum() == kind.sign);
        let surest = alike.clone().next();
        let Some(hit) = alike.find(|found| away(found.peak) <= reach) else {
            println!("  missed: {:+.2} K {} {:?}", truth.peak, truth.kind, truth.designator);
            return;
        };
        self.found += 1;
        let right = surest == Some(hit)
            && match kind.within_mm {
                Some(within) => away(hit.peak) <= within,
                None => hit.nearest.as_deref() == Some(truth.designator.as_str()),
            };
        self.named += usize::from(right);
        if !right {
            println!(
                "  named {:?} for {} ({:+.2} of {:+.2} K)",
                hit.nearest, truth.designator, hit.difference, truth.peak
            );
        }
        self.errors.push((hit.difference / truth.peak - 1.0).abs());
        let healthy = judge(baseline, &bench.unit(index, None), 5.0).difference;
        let (row, column) = (hit.peak.y as usize, hit.peak.x as usize);
        let around = (row - 2..row + 3).flat_map(|row| (column - 2..column + 3).map(move |c| (row, c)));
        let around: Vec<f32> = around.filter_map(|(row, column)| healthy.at(row, column)).collect();
        let natural = f64::from(around.iter().sum::<f32>()) / around.len() as f64;
        self.own.push(((hit.difference - natural) / truth.peak - 1.0).abs());
        let standing = (hit.difference - truth.peak) / hit.standard_uncertainty;
        if standing.abs() > 4.0 {
            println!(
                "  {standing:+.1} standard uncertainties: {:?} {:+.2} K u {:.2} for {} {:+.2} K, healthy {natural:+.2} K",
                hit.designator, hit.difference, hit.standard_uncertainty, truth.designator, truth.peak
            );
        }
        self.standing.push(standing);
    }

    pub fn join(&mut self, other: Self) {
        self.tried += other.tried;
        self.found += other.found;
        self.named += other.named;
        self.others += other.others;
        self.errors.extend(other.errors);
        self.own.extend(other.own);
        self.standing.extend(other.standing);
    }

    /// How far the peak is off at most in this share of those found.
    pub fn peak_off(&self, share: f64) -> f64 {
        at_most(&self.errors, share)
    }

    /// The same without what the same units differ by without their fault.
    pub fn measured_off(&self, share: f64) -> f64 {
        at_most(&self.own, share)
    }

    pub fn told(&self) -> String {
        let each = self.standing.len() as f64;
        let root_mean_square = (self.standing.iter().map(|z| z * z).sum::<f64>() / each).sqrt();
        let percent = |of: &[f64], share: f64| 100.0 * at_most(of, share);
        format!(
            "{}/{} found, {} named, {} elsewhere; peak off by {:.1} % (median), {:.1} % (nine in ten); without the \
             unit's own share {:.1} %, {:.1} %; {:.2} standard uncertainties",
            self.found,
            self.tried,
            self.named,
            self.others,
            percent(&self.errors, 0.5),
            percent(&self.errors, 0.9),
            percent(&self.own, 0.5),
            percent(&self.own, 0.9),
            root_mean_square,
        )
    }
}

/// What this share of the errors stays below.
fn at_most(errors: &[f64], share: f64) -> f64 {
    let mut errors = errors.to_vec();
    errors.sort_unstable_by(f64::total_cmp);
    let last = errors.len().saturating_sub(1) as f64;
    errors.get((last * share).round() as usize).copied().unwrap_or(f64::NAN)
}
