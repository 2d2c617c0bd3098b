//! The emissivity map of an invented board whose every pixel's emissivity is known.

use analysis::capture::apparent;
use analysis::frame::{ApparentKelvin, Frame};
use analysis::procedure::{EmissivityMap, NoMap, ReflectedKnowledge, Soak, SoakedMap, Warning};
use analysis::synthetic::{Camera, Population, Simulated, beacon_board};
use analysis::units::{Kelvin, KelvinDifference, Transmittance};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;

const DRAWS: u64 = 200;
const FRAMES: u64 = 4;
/// Standard uncertainty of the board's temperature, K.
const BOARD: f64 = 0.1;
/// Standard uncertainty of the reflected temperature in the middle of the picture, K.
const REFLECTED: f64 = 0.3;
/// Every third pixel along each axis: the procedure knows no neighbors, so fewer pixels only save time.
const STRIDE: usize = 3;
/// So many pixels from a change of finish the optics' blur mixes two emissivities.
const EDGE: usize = 3;

fn kelvins(value: f64) -> KelvinDifference {
    KelvinDifference::new(value).unwrap()
}

fn normal(generator: &mut ChaCha8Rng) -> f64 {
    generator.sample(StandardNormal)
}

/// Every [`STRIDE`]th row and column.
fn places(shape: (usize, usize)) -> impl Iterator<Item = (usize, usize)> {
    let (rows, columns) = shape;
    (0..rows)
        .step_by(STRIDE)
        .flat_map(move |row| (0..columns).step_by(STRIDE).map(move |column| (row, column)))
}

fn thinned<Q>(frame: &Frame<Q>) -> Frame<Q> {
    let (rows, columns) = frame.shape();
    let numbers = places(frame.shape()).map(|place| frame.view()[place]).collect();
    Frame::from_rows(rows.div_ceil(STRIDE), columns.div_ceil(STRIDE), numbers).unwrap()
}

/// The true emissivity where no other finish lies within [`EDGE`] pixels, thinned.
fn truth_off_edges(board: &Simulated) -> Vec<Option<f64>> {
    let truth = &board.emissivity_truth;
    let around = |at: usize| at.saturating_sub(EDGE)..at + EDGE + 1;
    places(truth.shape())
        .map(|(row, column)| {
            let here = truth.at(row, column)?;
            let alike = around(row).all(|row| {
                around(column)
                    .filter_map(|column| truth.at(row, column))
                    .all(|other| (other - here).abs() < 1e-4)
            });
            alike.then_some(f64::from(here))
        })
        .collect()
}

/// The board without power at these temperatures, °C, as the optics show it.
fn soaked_at(celsius: &[f64]) -> (Population, Vec<Simulated>) {
    let population = Population::new(beacon_board(), 2024);
    let boards = celsius
        .iter()
        .map(|&celsius| population.soaked(1, Kelvin::from_celsius(celsius).unwrap()).unwrap())
        .collect();
    (population, boards)
}

/// What one class of surface came to over all draws.
#[derive(Default)]
struct Tally {
    pixels: usize,
    squares: f64,
    covered: usize,
    stated: f64,
}

impl Tally {
    fn add(&mut self, found: f64, uncertainty: f64, truth: f64) {
        let error = found - truth;
        self.pixels += 1;
        self.squares += error * error;
        self.covered += usize::from(error.abs() <= 1.959_964 * uncertainty);
        self.stated += uncertainty * uncertainty;
    }

    fn rmse(&self) -> f64 {
        (self.squares / self.pixels as f64).sqrt()
    }

    fn coverage(&self) -> f64 {
        self.covered as f64 / self.pixels as f64
    }
}

struct Study {
    matte: Tally,
    shiny: Tally,
    all: Tally,
    /// The share of pixels off the edges that got an emissivity.
    answered: f64,
}

/// Draws noise, drift, fixed pattern and the entered temperatures anew each time, and compares.
fn study(celsius: &[f64], solve: bool) -> Study {
    let (population, boards) = soaked_at(celsius);
    let truth = truth_off_edges(&boards[0]);
    let clean: Vec<Frame<ApparentKelvin>> =
        boards.iter().map(|board| thinned(&board.apparent_clean)).collect();
    let mut by_finish: std::collections::BTreeMap<u64, Tally> = std::collections::BTreeMap::new();
    let mut study =
        Study { matte: Tally::default(), shiny: Tally::default(), all: Tally::default(), answered: 0.0 };
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let camera = &population.camera;
    let shared = (camera.drift.powi(2) / FRAMES as f64 + camera.fixed_pattern.powi(2)).sqrt();
    // What is mirrored tilts across the picture; one number for it is that much less sure.
    let [right, down] = population.reflected_across;
    let unevenness = ((right * right + down * down) / 12.0).sqrt();
    for draw in 0..DRAWS {
        let specimen = Camera { seed: 100 + draw, stuck_pixels: vec![], ..camera.clone() };
        let frames: Vec<Vec<Frame<ApparentKelvin>>> = clean
            .iter()
            .enumerate()
            .map(|(soak, clean)| {
                (0..FRAMES)
                    .map(|frame| {
                        let raw = specimen.digitize(clean, draw * 1000 + soak as u64 * 100 + frame).unwrap();
                        apparent(&raw, &boards[soak].metadata, camera.band).unwrap()
                    })
                    .collect()
            })
            .collect();
        let entered = SoakedMap {
            band: camera.band,
            transmittance: Transmittance::CLEAR,
            path: Kelvin::ROOM,
            reflected: if solve {
                ReflectedKnowledge::Solved
            } else {
                ReflectedKnowledge::Stated {
                    temperature: Kelvin::new(boards[0].reflected.value() + REFLECTED * normal(&mut random))
                        .unwrap(),
                    uncertainty: kelvins(REFLECTED.hypot(unevenness)),
                }
            },
            noise: kelvins(camera.netd),
            uncertainty_limit: SoakedMap::USUAL_LIMIT,
            soaks: boards
                .iter()
                .map(|board| Soak {
                    captures: vec![],
                    board: Kelvin::new(board.ambient.value() + BOARD * normal(&mut random)).unwrap(),
                    board_uncertainty: kelvins(BOARD),
                    reading_uncertainty: kelvins(shared),
                })
                .collect(),
        };
        let map = entered.map(&frames).unwrap();
        let found = map.emissivity.as_slice().iter().zip(map.uncertainty.as_slice());
        let mut answered = (0, 0);
        for (truth, (&value, &uncertainty)) in truth.iter().zip(found) {
            let Some(truth) = *truth else { continue };
            answered.1 += 1;
            if value.is_nan() {
                continue;
            }
            answered.0 += 1;
            let (value, uncertainty) = (f64::from(value), f64::from(uncertainty));
            let class = if truth >= 0.8 { &mut study.matte } else { &mut study.shiny };
            class.add(value, uncertainty, truth);
            study.all.add(value, uncertainty, truth);
            by_finish.entry((truth * 1e4) as u64).or_default().add(value, uncertainty, truth);
        }
        study.answered += f64::from(answered.0) / f64::from(answered.1) / DRAWS as f64;
    }
    println!("soaked at {celsius:?} °C, reflected {}", if solve { "solved for" } else { "stated" });
    println!("true ε    pixels      RMSE    stated u   covered");
    for (finish, tally) in
        by_finish.iter().map(|(key, tally)| (format!("{:.4}", *key as f64 / 1e4), tally)).chain([
            ("≥ 0.8".to_owned(), &study.matte),
            ("shiny".to_owned(), &study.shiny),
            ("all".to_owned(), &study.all),
        ])
    {
        let stated = (tally.stated / tally.pixels as f64).sqrt();
        println!(
            "{finish:<8} {:>8}  {:.5}   {stated:.5}   {:.1} %",
            tally.pixels as f64 / DRAWS as f64,
            tally.rmse(),
            100.0 * tally.coverage()
        );
    }
    study
}

fn hold(study: &Study) {
    assert!(study.matte.rmse() <= 0.01, "emissivity of 0.8 and more: RMSE {}", study.matte.rmse());
    assert!(study.shiny.rmse() <= 0.02, "shiny: RMSE {}", study.shiny.rmse());
    for (what, tally) in [("all", &study.all), ("matte", &study.matte), ("shiny", &study.shiny)] {
        let coverage = tally.coverage();
        assert!((0.93..=0.97).contains(&coverage), "{what}: the stated 95 % cover {coverage}");
    }
    assert!(study.answered > 0.99, "only {} of the pixels got an emissivity", study.answered);
}

#[test]
fn one_soak_and_a_stated_reflected_temperature_map_the_emissivity() {
    hold(&study(&[60.0], false));
}

#[test]
fn two_soaks_map_the_emissivity_without_any_word_about_the_surroundings() {
    hold(&study(&[35.0, 65.0], true));
}

/// One map without noise of the whole picture.
fn exact_map(celsius: &[f64], reflected: ReflectedKnowledge) -> Result<EmissivityMap, NoMap> {
    let (population, boards) = soaked_at(celsius);
    let entered = SoakedMap {
        band: population.camera.band,
        transmittance: Transmittance::CLEAR,
        path: Kelvin::ROOM,
        reflected,
        noise: kelvins(0.01),
        uncertainty_limit: SoakedMap::USUAL_LIMIT,
        soaks: boards
            .iter()
            .map(|board| Soak {
                captures: vec![],
                board: board.ambient,
                board_uncertainty: kelvins(0.05),
                reading_uncertainty: kelvins(0.02),
            })
            .collect(),
    };
    let frames: Vec<_> = boards.iter().map(|board| vec![board.apparent_clean.clone()]).collect();
    entered.map(&frames)
}

#[test]
fn two_soaks_tell_what_each_shiny_place_mirrors() {
    let map = exact_map(&[35.0, 65.0], ReflectedKnowledge::Solved).unwrap();
    let (population, boards) = soaked_at(&[35.0]);
    let reflected = map.reflected.unwrap();
    let (rows, columns) = reflected.temperature.shape();
    let [right, down] = population.reflected_across;
    let mut shiny = 0;
    for (place, emissivity) in places((rows, columns)).zip(truth_off_edges(&boards[0])) {
        if emissivity.is_none_or(|emissivity| emissivity > 0.3) {
            continue;
        }
        // The mirrored surroundings tilt across the picture, and each place sees its own.
        let truth = boards[0].reflected.value()
            + right * ((place.1 as f64 + 0.5) / columns as f64 - 0.5)
            + down * ((place.0 as f64 + 0.5) / rows as f64 - 0.5);
        let found = f64::from(reflected.temperature.at(place.0, place.1).unwrap());
        assert!((found - truth).abs() < 0.02, "at {place:?}: found {found} K, true {truth} K");
        shiny += 1;
    }
    assert!(shiny > 1000, "only {shiny} shiny pixels");
}

#[test]
fn temperatures_too_close_together_are_refused_with_what_to_do() {
    let error = exact_map(&[40.0, 43.0], ReflectedKnowledge::Solved).unwrap_err();
    assert!(matches!(error, NoMap::TooCloseTogether { separation, .. } if (separation - 3.0).abs() < 1e-6));
    assert!(error.to_string().contains("state the reflected temperature"));
    let stated = ReflectedKnowledge::Stated {
        temperature: Kelvin::from_celsius(22.0).unwrap(),
        uncertainty: kelvins(0.5),
    };
    let error = exact_map(&[25.0], stated).unwrap_err();
    assert!(matches!(error, NoMap::TooCloseToSurroundings { .. }), "{error}");
    let warned = exact_map(&[30.0], stated).unwrap().outcome.warnings;
    assert!(
        matches!(warned[..], [Warning::LowElevation { elevation, .. }] if (elevation - 8.0).abs() < 1e-6),
        "{warned:?}"
    );
    assert_eq!(exact_map(&[50.0], stated).unwrap().outcome.warnings, vec![]);
    let warned = exact_map(&[40.0, 48.0], ReflectedKnowledge::Solved).unwrap().outcome.warnings;
    assert!(matches!(warned[..], [Warning::CloseSoaks { .. }]), "{warned:?}");
}

#[test]
fn pixels_without_an_answer_are_counted_by_reason() {
    let numbers = |values: [f32; 5]| Frame::from_rows(1, 5, values.to_vec()).unwrap();
    let kelvin = |value| Kelvin::new(value).unwrap();
    let entered = SoakedMap {
        band: Camera::default().band,
        transmittance: Transmittance::CLEAR,
        path: Kelvin::ROOM,
        reflected: ReflectedKnowledge::Stated { temperature: kelvin(295.0), uncertainty: kelvins(2.0) },
        noise: kelvins(0.05),
        uncertainty_limit: 0.03,
        soaks: vec![Soak {
            captures: vec![],
            board: kelvin(335.0),
            board_uncertainty: kelvins(0.1),
            reading_uncertainty: kelvins(0.0),
        }],
    };
    // In turn: black as soot; no reading; hardly above what it mirrors; above the board; mostly mirrored.
    let map = entered.map(&[vec![numbers([334.0, f32::NAN, 295.05, 337.0, 300.0])]]).unwrap();
    let counts = &map.outcome;
    assert_eq!(
        (
            counts.valid,
            counts.invalid_input,
            counts.small_contrast,
            counts.out_of_range,
            counts.too_uncertain
        ),
        (1, 1, 1, 1, 1)
    );
    assert_eq!(map.emissivity.count_valid(), 1);
    assert_eq!(map.uncertainty.count_valid(), 1);
    let shape = Frame::from_rows(5, 1, vec![334.0; 5]).unwrap();
    let crooked = entered.map(&[vec![numbers([334.0; 5]), shape]]);
    assert!(matches!(crooked, Err(NoMap::Shape(_))));
    assert!(matches!(entered.map(&[]), Err(NoMap::CountMismatch { frames: 0, soaks: 1 })));
    assert!(matches!(entered.map(&[vec![]]), Err(NoMap::NoFrames { number: 1 })));
}
