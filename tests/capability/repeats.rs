//! Repeat captures of one board, simulated with known noise, placement and drift.

use analysis::capability::{
    NoStudy, RegionPixels, Repeatability, RepeatabilitySettings, RepeatabilityWarning, components,
    repeatability,
};
use analysis::frame::{Frame, SurfaceKelvin};
use analysis::units::KelvinDifference;
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;

/// Standard deviations, K: of one pixel in one frame, of a region from placement to placement, of the whole
/// picture from placement to placement and from frame to frame.
struct Scatter {
    pixel: f64,
    placement: [f64; REGIONS],
    drift: f64,
    frame_drift: f64,
}

const REGIONS: usize = 6;
const SIDE: usize = 6;

/// `placements` captures of `frames` frames: regions of 6 × 6 pixels side by side, each at its own temperature.
fn captures(
    scatter: &Scatter,
    placements: usize,
    frames: usize,
    seed: u64,
) -> Vec<Vec<Frame<SurfaceKelvin>>> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = move |sigma: f64| -> f64 {
        let drawn: f64 = random.sample(StandardNormal);
        sigma * drawn
    };
    (0..placements)
        .map(|_| {
            let drift = normal(scatter.drift);
            let local: Vec<f64> = scatter.placement.iter().map(|&sigma| normal(sigma)).collect();
            (0..frames)
                .map(|_| {
                    let offset = drift + normal(scatter.frame_drift);
                    let numbers = (0..SIDE * SIDE * REGIONS)
                        .map(|pixel| {
                            let region = pixel % (SIDE * REGIONS) / SIDE;
                            let kelvin = 310.0 + 5.0 * region as f64 + offset + local[region];
                            (kelvin + normal(scatter.pixel)) as f32
                        })
                        .collect();
                    Frame::from_rows(SIDE, SIDE * REGIONS, numbers).unwrap()
                })
                .collect()
        })
        .collect()
}

fn regions() -> Vec<RegionPixels> {
    (0..REGIONS)
        .map(|region| RegionPixels {
            name: format!("U{}", region + 1),
            pixels: (0..SIDE * SIDE * REGIONS)
                .filter(|pixel| pixel % (SIDE * REGIONS) / SIDE == region)
                .collect(),
        })
        .collect()
}

const SCATTER: Scatter =
    Scatter { pixel: 0.3, placement: [0.08, 0.12, 0.2, 0.1, 0.15, 0.3], drift: 0.25, frame_drift: 0.1 };

#[track_caller]
fn assert_within(what: &str, found: f64, injected: f64, fraction: f64) {
    println!(
        "{what:<24} injected {injected:.4} K   found {found:.4} K   {:+.1} %",
        100.0 * (found / injected - 1.0)
    );
    assert!((found / injected - 1.0).abs() <= fraction, "{what}: found {found}, injected {injected}");
}

#[test]
fn the_injected_noise_placement_and_drift_come_back() {
    // The standard error of a standard deviation with ν degrees of freedom is 1/√(2ν): at most 5 % from ν = 200
    // on, which 1600 placements leave to every component, the quietest region's included.
    let study: Repeatability =
        repeatability(&captures(&SCATTER, 1600, 3, 11), &regions(), &RepeatabilitySettings::default())
            .unwrap();
    let every: Vec<f64> = study
        .regions
        .iter()
        .flat_map(|region| [region.noise.unwrap(), region.placement])
        .chain([study.components.drift.unwrap(), study.components.frame_drift.unwrap()])
        .map(|component| component.degrees_of_freedom.unwrap())
        .collect();
    assert!(every.iter().all(|&degrees| degrees >= 200.0), "{every:.0?}");
    let noise = SCATTER.pixel / SIDE as f64;
    for (region, &placement) in study.regions.iter().zip(&SCATTER.placement) {
        assert_within(&format!("{} noise", region.name), region.noise.unwrap().sigma, noise, 0.15);
        assert_within(&format!("{} placement", region.name), region.placement.sigma, placement, 0.15);
        let both = placement.hypot(noise / 3.0_f64.sqrt());
        // Two captures of one board differ by more than this in one case of twenty: 1.96 √2 σ.
        assert_within(
            &format!("{} limit", region.name),
            region.drift_removed.called_beyond,
            1.96 * 2.0_f64.sqrt() * both,
            0.15,
        );
        let drift = SCATTER.drift.hypot(SCATTER.frame_drift / 3.0_f64.sqrt());
        assert_within(
            &format!("{} limit, drift left", region.name),
            region.drift_left.unwrap().called_beyond,
            1.96 * 2.0_f64.sqrt() * both.hypot(drift),
            0.15,
        );
    }
    assert_within("drift", study.components.drift.unwrap().sigma, SCATTER.drift, 0.15);
    assert_within(
        "drift between frames",
        study.components.frame_drift.unwrap().sigma,
        SCATTER.frame_drift,
        0.15,
    );
    assert!(study.warnings.is_empty(), "{:?}", study.warnings);
}

#[test]
fn intervals_hold_the_injected_components_as_often_as_they_say() {
    // 150 studies of 8 placements: of each 95 % interval some 142.5 ± 2.7 should hold the truth.
    let mut held = [0_u32; 4];
    const STUDIES: u64 = 150;
    let noise = SCATTER.pixel / SIDE as f64;
    for study in 0..STUDIES {
        let settings = RepeatabilitySettings::default();
        let study = repeatability(&captures(&SCATTER, 8, 3, 1000 + study), &regions(), &settings).unwrap();
        let region = &study.regions[4];
        let truths = [
            (region.noise.unwrap(), noise),
            (region.placement, SCATTER.placement[4]),
            (study.components.drift.unwrap(), SCATTER.drift),
            (study.components.frame_drift.unwrap(), SCATTER.frame_drift),
        ];
        for (count, (component, truth)) in held.iter_mut().zip(truths) {
            let [lower, upper] = component.interval;
            assert!(lower <= component.sigma && component.sigma <= upper, "{component:?}");
            *count += u32::from(lower <= truth && truth <= upper);
        }
    }
    println!("of {STUDIES} intervals hold the truth: noise, placement, drift, frame drift {held:?}");
    for count in held {
        // Satterthwaite's intervals are approximate: at least 90 % rather than 95 %.
        assert!(f64::from(count) >= 0.90 * STUDIES as f64, "{held:?}");
    }
}

#[test]
fn the_called_limit_is_exceeded_by_equal_boards_as_rarely_as_stated() {
    // With 8 placements the scatter is poorly known; Student's t must make up for it.
    let (mut called, mut all) = (0, 0);
    for study in 0..150 {
        let mut placements = captures(&SCATTER, 10, 2, 5000 + study);
        let fresh = placements.split_off(8);
        let settings = RepeatabilitySettings::default();
        let study = repeatability(&placements, &regions(), &settings).unwrap();
        for (region, limit) in regions().iter().zip(&study.regions) {
            let mean = |frames: &[Frame<SurfaceKelvin>]| {
                let sum: f64 = frames
                    .iter()
                    .flat_map(|frame| region.pixels.iter().map(|&pixel| f64::from(frame.as_slice()[pixel])))
                    .sum();
                sum / (frames.len() * region.pixels.len()) as f64
            };
            all += 1;
            called += i32::from(
                (mean(&fresh[0]) - mean(&fresh[1])).abs() > limit.drift_left.unwrap().called_beyond,
            );
        }
    }
    let share = f64::from(called) / f64::from(all);
    println!("of {all} differences of equal boards {:.1} % are called at 95 %", 100.0 * share);
    // The six regions of a study share their drift, so the 900 differences are worth some 300: 5 ± 1.3 %.
    assert!((0.02..=0.08).contains(&share), "{share}");
}

#[test]
fn a_balanced_nested_analysis_gives_the_mean_squares_worked_by_hand() {
    // One region, three placements of two frames: 10 12 | 14 16 | 9 11, in kelvin about 300. Means 11, 15, 10;
    // within: 6 · 1 / 3 = 2; variance of the means: ((−1)² + 3² + (−2)²)/2 = 7; placement: 7 − 2/2 = 6.
    let means = vec![vec![vec![310.0, 312.0], vec![314.0, 316.0], vec![309.0, 311.0]]];
    let found = components(&means, None, 0.95).unwrap();
    let region = found.regions[0];
    assert!((region.noise.unwrap().sigma - 2.0_f64.sqrt()).abs() < 1e-12);
    assert!((region.both.sigma - 7.0_f64.sqrt()).abs() < 1e-12);
    assert!((region.placement.sigma - 6.0_f64.sqrt()).abs() < 1e-12);
    // χ² of 3 degrees of freedom, 2.5 % and 97.5 %: 0.2157953, 9.3484036 (SciPy): σ² from 6/9.348 to 6/0.2158.
    let [lower, upper] = region.noise.unwrap().interval;
    assert!((lower - (6.0_f64 / 9.348_403_6).sqrt()).abs() < 1e-6, "{lower}");
    assert!((upper - (6.0_f64 / 0.215_795_3).sqrt()).abs() < 1e-5, "{upper}");
    assert_eq!(found.drift, None);
}

#[test]
fn a_region_that_happens_not_to_scatter_is_not_promised_a_limit_of_zero() {
    let quiet = Scatter { placement: [0.0, 0.3, 0.3, 0.3, 0.3, 0.3], ..SCATTER };
    let noise = SCATTER.pixel / SIDE as f64 / 3.0_f64.sqrt();
    for seed in 0..40 {
        let study =
            repeatability(&captures(&quiet, 5, 3, seed), &regions(), &RepeatabilitySettings::default());
        let limit = study.unwrap().regions[0].drift_removed;
        // Two standard deviations of noise alone, less what ten degrees of freedom leave unsure.
        assert!(limit.called_beyond > noise, "{limit:?}");
    }
}

#[test]
fn a_single_frame_takes_its_noise_from_what_is_stated() {
    let pixel_noise = Some(KelvinDifference::new(SCATTER.pixel).unwrap());
    let placements = captures(&SCATTER, 500, 1, 22);
    let stated = RepeatabilitySettings { pixel_noise, ..RepeatabilitySettings::default() };
    let study = repeatability(&placements, &regions(), &stated).unwrap();
    for (region, &placement) in study.regions.iter().zip(&SCATTER.placement) {
        assert_within(&format!("{} placement", region.name), region.placement.sigma, placement, 0.15);
    }
    let unstated = repeatability(&placements, &regions(), &RepeatabilitySettings::default()).unwrap();
    assert!(unstated.warnings.contains(&RepeatabilityWarning::NoiseUnknown));
    assert!(unstated.regions.iter().all(|region| region.noise.is_none()));
}

#[test]
fn a_picture_that_runs_is_warned_of_with_its_slope() {
    let steady = Scatter { pixel: 0.05, placement: [0.02; REGIONS], drift: 0.02, frame_drift: 0.0 };
    let placements: Vec<Vec<Frame<SurfaceKelvin>>> = captures(&steady, 12, 2, 3)
        .into_iter()
        .enumerate()
        .map(|(index, frames)| frames.iter().map(|frame| frame.map(|v| v + 0.1 * index as f32)).collect())
        .collect();
    let study = repeatability(&placements, &regions(), &RepeatabilitySettings::default()).unwrap();
    let slope = study.components.trend.unwrap().per_placement;
    assert!((slope - 0.1).abs() < 0.01, "{slope}");
    assert!(matches!(study.warnings[..], [RepeatabilityWarning::Running { .. }]), "{:?}", study.warnings);
}

#[test]
fn what_the_study_cannot_use_is_refused_by_name() {
    let placements = captures(&SCATTER, 3, 1, 5);
    let settings = RepeatabilitySettings::default();
    let beyond = [RegionPixels { name: "U9".to_owned(), pixels: vec![1_000_000] }];
    let error = repeatability(&placements, &beyond, &settings).unwrap_err();
    assert!(error.to_string().contains("U9"), "{error}");
    assert!(matches!(repeatability(&placements, &[], &settings), Err(NoStudy::NoRegions)));
    assert!(matches!(repeatability(&placements[..1], &regions(), &settings), Err(NoStudy::Components(_))));
    let empty: Vec<Vec<Frame<SurfaceKelvin>>> = vec![];
    assert!(repeatability(&empty, &regions(), &settings).is_err());
    let uneven = vec![placements[0].clone(), vec![], placements[1].clone()];
    assert!(matches!(repeatability(&uneven, &regions(), &settings), Err(NoStudy::Components(_))));
    let few = repeatability(&placements, &regions()[..1], &settings).unwrap();
    assert!(few.warnings.contains(&RepeatabilityWarning::FewPlacements { found: 3, wanted: 6 }));
    assert!(few.warnings.contains(&RepeatabilityWarning::FewRegions { found: 1 }));
}
