//! Whether stated 95 % intervals hold the truth in 95 % of cases, on simulated captures with drawn inputs.
//!
//! Temperature fields of simulated boards are seen through surfaces of several stated emissivities. Each
//! draw takes true emissivities, reflected temperature, calibration, drift and noise about what is stated,
//! makes the apparent pictures that follow, and corrects them with the stated values, as a person would.

use analysis::frame::{
    ApparentKelvin, Difference, EmissivityFraction, EmissivityUncertainty, Frame, SurfaceKelvin,
};
use analysis::radiometry::{Band, BandTable, Surroundings, apparent_picture, correct};
use analysis::synthetic::{Camera, Fault, Population, Spread, sample_population};
use analysis::uncertainty::{
    Certainty, DifferenceSetting, InputUncertainty, SharedInputs, certainty, difference_margins, expanded,
    is_skewed, temperature_interval,
};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;

use super::measurement::{difference, kelvin, kelvins, place};

/// Emissivities with standard uncertainties, by class: bare metals, oxides and thin coatings, and what most
/// of a board is.
const CLASSES: [(&str, [(f64, f64); 3]); 3] = [
    ("shiny", [(0.06, 0.0115), (0.14, 0.027), (0.30, 0.05)]),
    ("middle", [(0.60, 0.05), (0.70, 0.04), (0.80, 0.0433)]),
    ("high", [(0.85, 0.0289), (0.92, 0.0202), (0.95, 0.01)]),
];
const PIXELS_OF_EACH: usize = 4;
const DRAWS: u64 = 1000;

/// Draws that a seed repeats.
struct Draws(ChaCha8Rng);

impl Draws {
    fn normal(&mut self) -> f64 {
        self.0.sample(StandardNormal)
    }

    /// Normal, drawn again while it lies beyond the limits.
    fn normal_between(&mut self, lowest: f64, highest: f64) -> f64 {
        loop {
            let drawn = self.normal();
            if (lowest..=highest).contains(&drawn) {
                return drawn;
            }
        }
    }

    /// Between 0 and 1.
    fn uniform(&mut self) -> f64 {
        self.0.random()
    }
}

/// True temperatures at places all over a good and a faulty board, the same places for each.
fn fields() -> [Vec<f32>; 2] {
    let camera = Camera {
        rows: 120,
        columns: 160,
        focal_px: 360.0,
        samples_per_side: 1,
        stuck_pixels: Vec::new(),
        ..Camera::default()
    };
    let spread = Spread { part_power: 0.03, total_power: 0.012, ..Spread::NONE };
    let population = Population { camera, spread, ..sample_population() };
    let fault = Fault::Hot { designator: "Q2", extra_watts: 0.3 };
    let good = population.unit(1, None).unwrap().surface_truth;
    let faulty = population.unit(6, Some(&fault)).unwrap().surface_truth;
    // The warm pixels, evenly over the ranks of the difference, so that the fault is among them.
    let mut warm: Vec<_> =
        faulty.as_slice().iter().zip(good.as_slice()).filter(|(t, _)| **t > 303.0).collect();
    warm.sort_by(|a, b| (a.0 - a.1).total_cmp(&(b.0 - b.1)));
    let count = CLASSES.len() * 3 * PIXELS_OF_EACH;
    let chosen: Vec<_> =
        (0..count).map(|i| warm[(i * 7919 % count) * (warm.len() - 1) / (count - 1)]).collect();
    [chosen.iter().map(|pair| *pair.0).collect(), chosen.iter().map(|pair| *pair.1).collect()]
}

fn row<Q>(values: Vec<f32>) -> Frame<Q> {
    Frame::from_rows(1, values.len(), values).unwrap()
}

/// How often an interval held the truth.
#[derive(Debug, Clone, Copy, Default)]
struct Tally {
    held: usize,
    all: usize,
}

impl Tally {
    fn count(&mut self, held: bool) {
        self.held += usize::from(held);
        self.all += 1;
    }

    fn plus(self, other: Self) -> Self {
        Self { held: self.held + other.held, all: self.all + other.all }
    }

    fn percent(self) -> f64 {
        100.0 * self.held as f64 / self.all as f64
    }
}

/// The law that the errors of emissivity and calibration are drawn from.
#[derive(Clone, Copy)]
enum Law {
    Normal,
    /// Anywhere within limits of √3 standard uncertainties.
    Rectangular,
}

impl Law {
    /// An error in standard uncertainties, between `lowest` and `highest`.
    fn draw(self, draws: &mut Draws, lowest: f64, highest: f64) -> f64 {
        match self {
            Self::Normal => draws.normal_between(lowest, highest),
            Self::Rectangular => (3.0_f64.sqrt() * (2.0 * draws.uniform() - 1.0)).clamp(lowest, highest),
        }
    }
}

/// By stated emissivity, in the order of [`CLASSES`]: temperatures, differences.
fn coverage(inputs: &InputUncertainty, law: Law, seed: u64) -> [[Tally; 2]; 9] {
    let [unit_truth, baseline_truth] = fields();
    let count = unit_truth.len();
    let material_of = |pixel: usize| pixel / PIXELS_OF_EACH;
    let finish_of = |pixel: usize| CLASSES[material_of(pixel) / 3].1[material_of(pixel) % 3];
    let emissivity: Frame<EmissivityFraction> = row((0..count).map(|i| finish_of(i).0 as f32).collect());
    let width: Frame<EmissivityUncertainty> = row((0..count).map(|i| finish_of(i).1 as f32).collect());
    let truths = [row::<SurfaceKelvin>(unit_truth), row(baseline_truth)];
    let table = BandTable::new(Band::default());
    let stated = Surroundings::default();
    let mut draws = Draws(ChaCha8Rng::seed_from_u64(seed));
    let mut tallies = [[Tally::default(); 2]; 9];

    for _ in 0..DRAWS {
        // One error for both captures where the input is shared, one for each where not.
        let mut pair = |shared: bool, law: Law| {
            let mut draw = || law.draw(&mut draws, -9.0, 9.0);
            let first = draw();
            [first, if shared { first } else { draw() }]
        };
        let calibration = pair(inputs.shared.calibration, law);
        let reflected = pair(inputs.shared.surroundings, Law::Normal);
        let drift = pair(false, Law::Normal);
        let mut true_emissivities = vec![[0.0_f32; 2]; CLASSES.len() * 3];
        for (material, drawn) in true_emissivities.iter_mut().enumerate() {
            let (value, u) = CLASSES[material / 3].1[material % 3];
            let mut draw = || (value + u * law.draw(&mut draws, -value / u, (1.0 - value) / u)) as f32;
            let first = draw();
            *drawn = [first, if inputs.shared.emissivity { first } else { draw() }];
        }
        let measured = [0, 1].map(|side| {
            let true_emissivity = row((0..count).map(|i| true_emissivities[material_of(i)][side]).collect());
            let surroundings = Surroundings {
                reflected: kelvin(stated.reflected.value() + inputs.reflected.value() * reflected[side]),
                ..stated
            };
            let clean = apparent_picture(&truths[side], &true_emissivity, &surroundings, &table).unwrap();
            let mut read = |kelvin_seen: f32| {
                let u = inputs.calibration.at(f64::from(kelvin_seen));
                let error = u * calibration[side] + inputs.drift.value() * drift[side];
                kelvin_seen + (error + inputs.netd.value() * draws.normal()) as f32
            };
            let apparent: Frame<ApparentKelvin> = row(clean.as_slice().iter().map(|v| read(*v)).collect());
            correct(&apparent, &emissivity, &stated, &table).unwrap().temperature
        });
        // Nothing is misplaced here, so how steep the picture is does not matter.
        let apparent: Frame<ApparentKelvin> = measured[1].map(|kelvin| kelvin);
        let setting = DifferenceSetting {
            unit: &measured[0],
            baseline: &measured[1],
            baseline_apparent: &apparent,
            baselines: 1,
            emissivity: &emissivity,
            emissivity_uncertainty: &width,
            unit_surroundings: &stated,
            baseline_surroundings: &stated,
            unit_table: &table,
            baseline_table: &table,
            unit_gain: 1.0,
            unit_netd: inputs.netd,
            baseline_netd: inputs.netd,
            residual_px: 0.0,
            above_ambient: false,
        };
        let Certainty { unit: of_unit, difference: of_difference, .. } = certainty(&setting, inputs).unwrap();
        for pixel in 0..count {
            let (material, (value, u)) = (material_of(pixel), finish_of(pixel));
            let [Some(seen_unit), seen_baseline] =
                measured.each_ref().map(|frame| frame.at(0, pixel).map(f64::from))
            else {
                continue;
            };
            let true_unit = f64::from(truths[0].as_slice()[pixel]);
            let true_difference = true_unit - f64::from(truths[1].as_slice()[pixel]);
            let skewed = is_skewed(value, u);
            let within = |map: &Frame<Difference>, found: f64, truth: f64| {
                (found - truth).abs() <= f64::from(expanded(map.at(0, pixel).unwrap()))
            };
            let at_unit = place(seen_unit, value, u, stated, inputs);
            tallies[material][0].count(if skewed {
                let interval = temperature_interval(&at_unit, inputs).unwrap();
                (interval.low..=interval.high).contains(&true_unit)
            } else {
                within(&of_unit, seen_unit, true_unit)
            });
            let Some(seen_baseline) = seen_baseline else { continue };
            tallies[material][1].count(if skewed {
                let at = difference(at_unit, place(seen_baseline, value, u, stated, inputs));
                let margins = difference_margins(&at, inputs).unwrap();
                let error = true_difference - (seen_unit - seen_baseline);
                (margins.low..=margins.high).contains(&error)
            } else {
                within(&of_difference, seen_unit - seen_baseline, true_difference)
            });
        }
    }
    tallies
}

/// Prints the table and fails where a class is held less or more often, in percent, than `allowed`.
fn assert_covers(
    what: &str,
    inputs: &InputUncertainty,
    law: Law,
    seed: u64,
    allowed: std::ops::RangeInclusive<f64>,
) {
    let mut offences = Vec::new();
    let tallies = coverage(inputs, law, seed);
    for ((class, materials), tallies) in CLASSES.iter().zip(tallies.chunks(3)) {
        for (which, quantity) in ["temperature", "difference"].iter().enumerate() {
            let whole = tallies.iter().fold(Tally::default(), |sum, tally| sum.plus(tally[which]));
            let each: Vec<String> = materials
                .iter()
                .zip(tallies)
                .map(|((emissivity, _), tally)| format!("{emissivity}: {:.1}", tally[which].percent()))
                .collect();
            let (percent, each) = (whole.percent(), each.join(", "));
            println!("{what:>15} | {class:>6} | {quantity:>11} | {percent:5.1} % of {} | {each}", whole.all);
            if !allowed.contains(&percent) {
                offences.push(format!("{class} {quantity}: {percent:.1} %"));
            }
        }
    }
    assert!(offences.is_empty(), "{what}: {offences:?}");
}

#[test]
fn stated_intervals_hold_the_truth_in_95_percent_of_cases() {
    assert_covers("all shared", &InputUncertainty::default(), Law::Normal, 11, 93.0..=97.0);
}

#[test]
fn so_they_do_when_the_captures_share_nothing() {
    let shared = SharedInputs { calibration: false, emissivity: false, surroundings: false };
    let inputs = InputUncertainty { shared, ..InputUncertainty::default() };
    assert_covers("nothing shared", &inputs, Law::Normal, 12, 93.0..=97.0);
}

#[test]
fn and_when_a_steady_camera_leaves_the_shared_errors_alone() {
    // With little noise and drift a difference is as uncertain as its shared inputs make it.
    let steady = kelvins(0.005);
    let inputs = InputUncertainty { drift: steady, netd: steady, ..InputUncertainty::default() };
    assert_covers("steady camera", &inputs, Law::Normal, 14, 93.0..=97.0);
}

#[test]
fn errors_that_lie_anywhere_within_limits_are_held_at_least_as_often() {
    // A rectangular error never leaves √3 standard uncertainties, so where one dominates the interval errs
    // to the safe side (JCGM 100:2008, G.2.2 and the example of JCGM 101:2008, 9.2.4).
    assert_covers("within limits", &InputUncertainty::default(), Law::Rectangular, 13, 93.0..=100.0);
}
