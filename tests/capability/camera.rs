//! The camera's own noise, faults, unevenness and drift, on pictures of a simulated camera.

use analysis::capability::{
    FlatField, Flattening, NoDrift, NoNoise, Scene, camera_noise, drift_offset, spatial_noise,
};
use analysis::frame::{ApparentKelvin, Frame};
use analysis::synthetic::camera::KELVIN_PER_COUNT;
use analysis::synthetic::{Camera, Population, beacon_board};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;

const ROWS: usize = 120;
const COLUMNS: usize = 160;

fn uniform(kelvin: f32) -> Frame<ApparentKelvin> {
    Frame::from_rows(ROWS, COLUMNS, vec![kelvin; ROWS * COLUMNS]).unwrap()
}

/// What a camera that reads kelvin delivers of `clean`, frame after frame.
fn burst(camera: &Camera, clean: &Frame<ApparentKelvin>, frames: u64) -> Vec<Frame<ApparentKelvin>> {
    (0..frames)
        .map(|frame| {
            let raw = camera.digitize(clean, 900 + frame).unwrap();
            raw.map(|counts| (f64::from(counts) * KELVIN_PER_COUNT) as f32)
        })
        .collect()
}

fn camera() -> Camera {
    Camera { stuck_pixels: vec![[10, 7], [100, 99], [31, 64]], ..Camera::default() }
}

#[test]
fn a_burst_of_a_plate_gives_the_cameras_noise_pattern_and_drift() {
    let camera = camera();
    let found = camera_noise(&burst(&camera, &uniform(303.15), 40), Scene::Uniform).unwrap();
    // Digits of 0.01 K add 0.01/√12 K of their own.
    let netd = camera.netd.hypot(KELVIN_PER_COUNT / 12.0_f64.sqrt());
    println!("NETD {:.5} K of {netd:.5} K, within {:?}", found.netd.value(), found.netd_interval);
    assert!((found.netd.value() / netd - 1.0).abs() < 0.005, "{}", found.netd.value());
    let [lower, upper] = found.netd_interval;
    assert!(upper - lower < 0.01 * netd && lower < found.netd.value() && found.netd.value() < upper);
    // 160 columns carry half of the pattern's variance, so it is itself only drawn to some 4 %.
    assert!((found.fixed_pattern.unwrap().value() / camera.fixed_pattern - 1.0).abs() < 0.12, "{found:?}");
    // 40 frames draw the drift's standard deviation to 1/√78 = 11 %; three times that.
    assert!((found.frame_drift.value() / camera.drift - 1.0).abs() < 0.34, "{:?}", found.frame_drift);
}

#[test]
fn stuck_pixels_are_found_on_any_still_scene_and_nothing_else_is() {
    let camera = camera();
    let mut expected = camera.stuck_pixels.clone();
    expected.sort_by_key(|[x, y]| (*y, *x));
    let plate = camera_noise(&burst(&camera, &uniform(303.15), 16), Scene::Uniform).unwrap();
    assert_eq!(plate.stuck, expected);
    assert_eq!(plate.faulty(), expected, "noisy {:?}, outliers {:?}", plate.noisy, plate.outliers);
    // The board's own edges are no faults.
    let population = Population { camera: Camera::default(), ..Population::new(beacon_board(), 5) };
    let board = population.unit(0, None).unwrap();
    let still = camera_noise(&burst(&population.camera, &board.apparent_clean, 12), Scene::Still).unwrap();
    let mut expected = population.camera.stuck_pixels.clone();
    expected.sort_by_key(|[x, y]| (*y, *x));
    assert_eq!(still.faulty(), expected);
    assert_eq!(still.fixed_pattern, None);
    let netd = population.camera.netd.hypot(KELVIN_PER_COUNT / 12.0_f64.sqrt());
    assert!((still.netd.value() / netd - 1.0).abs() < 0.005, "{}", still.netd.value());
}

#[test]
fn a_noisy_pixel_and_one_that_reads_wrongly_are_told_apart() {
    let (noisy, wrong) = (37 * COLUMNS + 20, 80 * COLUMNS + 90);
    let mut random = ChaCha8Rng::seed_from_u64(2);
    let frames: Vec<Frame<ApparentKelvin>> = burst(&camera(), &uniform(303.15), 16)
        .into_iter()
        .map(|frame| {
            let mut numbers = frame.as_slice().to_vec();
            let drawn: f32 = random.sample(StandardNormal);
            numbers[noisy] += 0.4 * drawn;
            numbers[wrong] += 1.5;
            Frame::from_rows(ROWS, COLUMNS, numbers).unwrap()
        })
        .collect();
    let found = camera_noise(&frames, Scene::Uniform).unwrap();
    assert_eq!(found.noisy, vec![[20, 37]]);
    assert!(found.outliers.contains(&[90, 80]), "{:?}", found.outliers);
    assert_eq!(found.faulty().len(), 5);
    let still = camera_noise(&frames, Scene::Still).unwrap();
    assert!(still.outliers.is_empty(), "on a scene that is not uniform a wrong reading cannot be told");
}

#[test]
fn a_short_burst_or_a_picture_without_pixels_is_refused() {
    let one = vec![uniform(300.0)];
    assert_eq!(camera_noise(&one, Scene::Still), Err(NoNoise::TooFewFrames { found: 1 }));
    let empty = Frame::from_rows(8, 8, vec![f32::NAN; 64]).unwrap();
    let refused = camera_noise(&[empty.clone(), empty.clone()], Scene::Still);
    assert!(matches!(refused, Err(NoNoise::TooFewPixels { found: 0, .. })));
    assert!(spatial_noise(&empty).is_err());
    let flat = camera_noise(&[uniform(300.0), uniform(300.0)], Scene::Uniform).unwrap();
    assert_eq!((flat.netd.value(), flat.faulty().len()), (0.0, 0));
}

// ---- Unevenness ----

/// Darker towards the corners by up to 1.8 K, and tilted.
fn vignetted(kelvin: f64) -> Frame<ApparentKelvin> {
    let numbers = (0..ROWS * COLUMNS)
        .map(|pixel| {
            let x = 2.0 * (pixel % COLUMNS) as f64 / (COLUMNS - 1) as f64 - 1.0;
            let y = 2.0 * (pixel / COLUMNS) as f64 / (ROWS - 1) as f64 - 1.0;
            (kelvin - 0.8 * (x * x + y * y) + 0.1 * x) as f32
        })
        .collect();
    Frame::from_rows(ROWS, COLUMNS, numbers).unwrap()
}

#[test]
fn the_smooth_shape_is_not_taken_for_noise() {
    let camera = Camera { drift: 0.0, ..camera() };
    let frame = &burst(&camera, &vignetted(303.15), 1)[0];
    let found = spatial_noise(frame).unwrap();
    let expected = camera.netd.hypot(camera.fixed_pattern).hypot(KELVIN_PER_COUNT / 12.0_f64.sqrt());
    // The median absolute deviation of 19200 values: 1.17/√19200 = 0.8 %; the columns' pattern adds its own.
    assert!((found.sigma.value() / expected - 1.0).abs() < 0.03, "{found:?}");
    // Lowest in a left corner, −1.6 − 0.1; highest where −0.8x² + 0.1x peaks, 0.1²/3.2.
    let range = 1.7 + 0.01 / 3.2;
    assert!((found.shape_range.value() - range).abs() < 0.02, "{found:?}");
}

#[test]
fn a_flat_field_takes_the_unevenness_out_and_puts_it_back_exactly() {
    let camera = Camera { drift: 0.0, netd: 0.0, ..camera() };
    let scene = &burst(&camera, &vignetted(303.15), 1)[0];
    let later = &burst(&camera, &vignetted(320.0), 1)[0];
    for (flattening, most) in [(Flattening::Smooth, camera.fixed_pattern), (Flattening::EachPixel, 0.005)] {
        let field = FlatField::measure(scene, flattening).unwrap();
        let flat = field.remove(later).unwrap();
        let left = spatial_noise(&flat).unwrap();
        assert!(left.sigma.value() < 1.1 * most, "{flattening:?}: {left:?}");
        assert!(left.shape_range.value() < 0.02, "{flattening:?}: {left:?}");
        assert_eq!(&field.restore(&flat).unwrap(), later, "{flattening:?}");
    }
}

// ---- Drift ----

#[test]
fn the_drift_of_a_patch_is_found_as_surely_as_it_says() {
    let patch: Vec<usize> =
        (0..ROWS * COLUMNS).filter(|pixel| pixel % COLUMNS < 20 && pixel / COLUMNS < 20).collect();
    let camera = Camera { drift: 0.0, stuck_pixels: vec![], ..Camera::default() };
    let mut random = ChaCha8Rng::seed_from_u64(8);
    let mut covered = 0;
    const TRIALS: u64 = 200;
    for trial in 0..TRIALS {
        let drawn: f64 = random.sample(StandardNormal);
        let injected = 0.3 * drawn;
        let read = |kelvin: f64, seed: u64| {
            let raw = camera.digitize(&uniform(kelvin as f32), seed).unwrap();
            raw.map(|counts| (f64::from(counts) * KELVIN_PER_COUNT) as f32)
        };
        let (reference, capture) = (read(300.0, 2 * trial), read(300.0 + injected, 2 * trial + 1));
        let found = drift_offset(&capture, &reference, &patch).unwrap();
        // √2 · 50 mK over 400 pixels, a median's 1.25 times.
        assert!(found.uncertainty.value() < 0.015, "{found:?}");
        covered += u32::from((found.offset.value() - injected).abs() <= 2.0 * found.uncertainty.value());
        let corrected = found.remove(&capture);
        let left = drift_offset(&corrected, &reference, &patch).unwrap();
        assert!(left.offset.value().abs() < 1e-4);
    }
    println!("of {TRIALS} drifts {covered} lie within two standard uncertainties");
    // The uncertainty is the larger of two, so it covers no less than 95 %.
    assert!(f64::from(covered) / TRIALS as f64 > 0.93, "{covered}");
}

#[test]
fn a_patch_that_is_uneven_says_so_in_its_uncertainty() {
    let patch: Vec<usize> = (0..ROWS * COLUMNS).collect();
    let tilted = Frame::from_rows(
        ROWS,
        COLUMNS,
        (0..ROWS * COLUMNS).map(|pixel| 300.0 + (pixel / COLUMNS) as f32 / ROWS as f32).collect(),
    )
    .unwrap();
    let found = drift_offset(&tilted, &uniform(300.0), &patch).unwrap();
    // A kelvin from top to bottom: eight stripes scatter by 0.31 K, their mean by 0.11 K.
    assert!((found.uncertainty.value() - 0.108).abs() < 0.01, "{found:?}");
    assert!(matches!(
        drift_offset(&tilted, &uniform(300.0), &[1, 2, 3, 1_000_000]),
        Err(NoDrift::TooFewPixels { found: 3, .. })
    ));
}
