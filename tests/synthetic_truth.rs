//! The main job on simulated boards whose truth is known.

use analysis::frame::{ApparentKelvin, Frame, SurfaceKelvin};
use analysis::geometry::{BaselinePixels, Homography, Point, UnitPixels};
use analysis::radiometry::Band;
use analysis::synthetic::camera::{KELVIN_PER_COUNT, Reflected};
use analysis::synthetic::conduction::{Plate, PlateField};
use analysis::synthetic::scene::Scene;
use analysis::synthetic::{
    Camera, Condition, Fault, Population, Pose, Simulated, Spread, beacon_board, registration_error,
    sample_population, samples, true_alignment,
};
use analysis::units::Kelvin;
use ndarray::Array2;

/// Mean and standard deviation.
fn moments(values: impl Iterator<Item = f64> + Clone) -> (f64, f64) {
    let count = values.clone().count() as f64;
    let mean = values.clone().sum::<f64>() / count;
    (mean, (values.map(|v| (v - mean).powi(2)).sum::<f64>() / count).sqrt())
}

// ---- Conduction ----

#[test]
fn the_heat_that_leaves_the_board_is_the_heat_put_in() {
    let board = beacon_board();
    let plate = board.plate();
    let rise = plate.steady_rise(&board.power_map()).unwrap();
    let (lost, put_in) = (plate.heat_lost(&rise), board.total_power());
    // The residual is 1e-8 of the source; the balance collects it over some ten thousand cells.
    assert!((lost / put_in - 1.0).abs() < 1e-5, "{put_in} W in, {lost} W out");
}

#[test]
fn a_heated_line_across_a_strip_falls_off_as_a_fin_does() {
    // Adiabatic-tip fin: θ(x) = q′/(2√(g h)) · cosh((L/2 − |x|)/λ) / sinh(L/2λ), λ = √(g/h), the solution
    // of g θ″ = h θ with g θ′(0±) = ∓q′/2 and no flow at the ends; the long-strip limit is
    // q′/(2√(g h)) · exp(−|x|/λ).
    let (g, h, cell_mm, cells, line) = (0.02, 20.0, 0.5, 801, 3.0);
    let plate = Plate { cell_mm, sheet_conductance: Array2::from_elem((1, cells), g), film: h };
    let middle = cells / 2;
    let mut power = Array2::zeros((1, cells));
    power[(0, middle)] = line * cell_mm * 1e-3;
    let rise = plate.steady_rise(&power).unwrap();
    let decay = (g / h).sqrt();
    let half = cells as f64 * cell_mm * 1e-3 / 2.0;
    for offset in [5.0, 20.0, 60.0, 120.0] {
        let x = offset * 1e-3;
        let exact = line / (2.0 * (g * h).sqrt()) * ((half - x) / decay).cosh() / (half / decay).sinh();
        let found = rise.at((middle as f64 + 0.5) * cell_mm + offset, 0.25);
        // Second-order cells: (0.5 mm / 31.6 mm)² ≈ 2.5e-4 relative at a few decay lengths.
        assert!((found / exact - 1.0).abs() < 5e-4, "{offset} mm: {found} K, exact {exact} K");
    }
}

#[test]
fn a_heated_point_on_a_sheet_falls_off_as_the_bessel_function_does() {
    // θ(r) = P/(2π g) · K₀(r/λ) on an endless sheet. K₀(1/2), K₀(1), K₀(2) by the integral
    // ∫ exp(−x cosh t) dt over t > 0, summed with Python (trapezoid, step 0.001).
    let (g, h, cell_mm, cells, watts) = (0.008, 20.0, 0.5, 601, 0.5);
    let plate = Plate { cell_mm, sheet_conductance: Array2::from_elem((cells, cells), g), film: h };
    let mut power = Array2::zeros((cells, cells));
    power[(cells / 2, cells / 2)] = watts;
    let rise = plate.steady_rise(&power).unwrap();
    let middle = (cells as f64 / 2.0) * cell_mm;
    // λ = 20 mm; the edges are 7.5 λ away.
    for (r, bessel) in [(10.0, 0.924_419_071_23), (20.0, 0.421_024_438_24), (40.0, 0.113_893_872_75)] {
        let exact = watts / (2.0 * std::f64::consts::PI * g) * bessel;
        for (x, y) in [(r, 0.0), (0.0, -r), (0.6 * r, 0.8 * r)] {
            let found = rise.at(middle + x, middle + y);
            assert!((found / exact - 1.0).abs() < 2e-3, "{r} mm: {found} K, exact {exact} K");
        }
    }
}

// ---- Camera ----

/// A camera without blur, noise or supersampling: what it sees is what is there.
fn sharp_camera() -> Camera {
    Camera {
        rows: 120,
        columns: 160,
        focal_px: 360.0,
        blur_px: 0.0,
        samples_per_side: 1,
        stuck_pixels: Vec::new(),
        ..Camera::default()
    }
}

fn largest_gap(a: &Frame<ApparentKelvin>, b: &Frame<SurfaceKelvin>) -> f32 {
    a.as_slice().iter().zip(b.as_slice()).map(|(a, b)| (a - b).abs()).fold(0.0, f32::max)
}

#[test]
fn a_board_painted_black_looks_as_warm_as_it_is() {
    let board = beacon_board();
    let rise = board.plate().steady_rise(&board.power_map()).unwrap();
    let scene = Scene::new(&board, &rise, 296.0).painted(1.0);
    let camera = sharp_camera();
    let map = camera.board_to_pixels(&Pose::default(), board.size).unwrap();
    let picture = camera.look(&scene, &map, Reflected { middle: 290.0, across: [3.0, 3.0] }).unwrap();
    assert!(picture.surface_truth.range().unwrap().1 > 325.0, "the board is powered");
    // The band table's own accuracy is 1 mK each way.
    assert!(largest_gap(&picture.apparent_clean, &picture.surface_truth) < 0.002);
}

#[test]
fn an_enclosure_at_one_temperature_hides_every_emissivity() {
    // Kirchhoff: in equilibrium emitted and reflected radiance add up to a black body's.
    let board = beacon_board();
    let level = PlateField::level(0.0);
    let mut unpowered = board.clone();
    unpowered.parts.iter_mut().for_each(|part| part.power = 0.0);
    let scene = Scene::new(&unpowered, &level, 310.0);
    let camera = Camera { blur_px: 0.7, samples_per_side: 2, ..sharp_camera() };
    let map = camera.board_to_pixels(&Pose::default(), board.size).unwrap();
    let picture = camera.look(&scene, &map, Reflected { middle: 310.0, across: [0.0; 2] }).unwrap();
    let (lo, hi) = picture.emissivity_truth.range().unwrap();
    assert!(lo < 0.2 && hi > 0.9, "the scene holds metal and mask");
    let (lo, hi) = picture.apparent_clean.range().unwrap();
    assert!((lo - 310.0).abs() < 0.002 && (hi - 310.0).abs() < 0.002, "{lo} to {hi} K");
}

#[test]
fn a_warm_surface_looks_as_plancks_law_has_it() {
    // At one wavelength the measurement equation can be inverted by hand:
    // L ∝ 1/(exp(c₂/λT) − 1), c₂ = 14387.768775 µm·K (CODATA 2018, exact).
    let wavelength = 10.0;
    let law = |kelvin: f64| 1.0 / ((14_387.768_775 / (wavelength * kelvin)).exp() - 1.0);
    let mut board = beacon_board();
    board.parts.iter_mut().for_each(|part| part.power = 0.0);
    let level = PlateField::level(0.0);
    let camera = Camera { band: Band::new(9.99, 10.01).unwrap(), ..sharp_camera() };
    let map = camera.board_to_pixels(&Pose::default(), board.size).unwrap();
    for emissivity in [0.14, 0.5, 0.92] {
        let scene = Scene::new(&board, &level, 333.15).painted(emissivity);
        let picture = camera.look(&scene, &map, Reflected { middle: 295.65, across: [0.0; 2] }).unwrap();
        let radiance = emissivity * law(333.15) + (1.0 - emissivity) * law(295.65);
        let expected = 14_387.768_775 / (wavelength * (1.0 + 1.0 / radiance).ln());
        let seen = f64::from(picture.apparent_clean.at(60, 80).unwrap());
        assert!((seen - expected).abs() < 0.005, "ε {emissivity}: {seen} K, by hand {expected} K");
    }
}

#[test]
fn the_board_stands_upright_and_turns_counter_clockwise() {
    let camera = Camera::default();
    let size = [100.0, 75.0];
    let upright = Pose { tilt_x: 0.0, tilt_y: 0.0, ..Pose::default() };
    let map = camera.board_to_pixels(&upright, size).unwrap();
    let middle = map.apply(Point::new(50.0, 37.5));
    assert!(middle.distance(Point::new(319.5, 239.5)) < 1e-9);
    // f / distance pixels per millimetre.
    let right = map.apply(Point::new(60.0, 37.5));
    assert!(right.distance(Point::new(319.5 + 10.0 * 1450.0 / 270.0, 239.5)) < 1e-9);
    assert!(map.apply(Point::new(50.0, 47.5)).y < 239.5, "up on the board is up in the picture");
    let turned = camera.board_to_pixels(&Pose { roll: 10.0, ..upright }, size).unwrap();
    assert!(turned.apply(Point::new(60.0, 37.5)).y < 239.0, "the right side rises");
}

#[test]
fn noise_and_fixed_pattern_measure_as_stated() {
    let camera = Camera { stuck_pixels: Vec::new(), ..Camera::default() };
    let level = Frame::from_rows(480, 640, vec![310.0; 480 * 640]).unwrap();
    let pictures: Vec<_> = (0..16).map(|seed| camera.digitize(&level, seed).unwrap()).collect();
    let kelvin = |i: usize, pixel: usize| f64::from(pictures[i].as_slice()[pixel]) * KELVIN_PER_COUNT;

    // The difference of two pictures holds the white noise of both, and rounding to 10 mK.
    let (_, deviation) = moments((0..480 * 640).map(|p| kelvin(0, p) - kelvin(1, p)));
    let rounding = KELVIN_PER_COUNT / 12.0_f64.sqrt();
    let expected = (2.0 * (camera.netd.powi(2) + rounding.powi(2))).sqrt();
    assert!((deviation / expected - 1.0).abs() < 0.01, "{deviation} K, expected {expected} K");

    // The mean of sixteen keeps the pattern and a quarter of the noise.
    let mean = |p: usize| (0..16).map(|i| kelvin(i, p)).sum::<f64>() / 16.0;
    let means: Vec<f64> = (0..480 * 640).map(mean).collect();
    let (_, deviation) = moments(means.iter().copied());
    let expected = (camera.fixed_pattern.powi(2) + camera.netd.powi(2) / 16.0).sqrt();
    // 640 columns carry half of the pattern's variance: its spread is known to some 3 %.
    assert!((deviation / expected - 1.0).abs() < 0.06, "{deviation} K, expected {expected} K");
}

#[test]
fn stuck_pixels_read_the_same_whatever_lies_before_them() {
    let camera = Camera::default();
    let cool = camera.digitize(&Frame::from_rows(480, 640, vec![290.0; 480 * 640]).unwrap(), 1).unwrap();
    let warm = camera.digitize(&Frame::from_rows(480, 640, vec![330.0; 480 * 640]).unwrap(), 2).unwrap();
    let same: Vec<[u32; 2]> = (0..480 * 640)
        .filter(|&p| cool.as_slice()[p] == warm.as_slice()[p])
        .map(|p| [(p % 640) as u32, (p / 640) as u32])
        .collect();
    let mut stated = camera.stuck_pixels.clone();
    stated.sort_by_key(|[x, y]| (*y, *x));
    assert_eq!(same, stated);
}

// ---- Units ----

#[test]
fn a_seed_gives_the_same_unit_and_another_gives_another() {
    let population = Population { camera: sharp_camera(), ..sample_population() };
    let [a, b, c] = [1, 1, 2].map(|index| population.unit(index, None).unwrap());
    assert_eq!(a.capture, b.capture);
    assert_eq!(a.metadata, b.metadata);
    assert_ne!(a.capture, c.capture);
    assert_ne!(a.board_to_pixels, c.board_to_pixels);
}

#[test]
fn units_without_spread_differ_by_noise_alone() {
    let population = Population { spread: Spread::NONE, camera: sharp_camera(), ..sample_population() };
    let [a, b] = [1, 2].map(|index| population.unit(index, None).unwrap());
    assert_eq!(a.apparent_clean, b.apparent_clean);
    assert_ne!(a.capture, b.capture);
}

#[test]
fn bare_metal_reads_cold() {
    let unit = sample_population().unit(1, None).unwrap();
    for (what, place) in [("can", [27.0, 53.5]), ("shield", [79.0, 59.5]), ("crystal", [54.0, 28.5])] {
        let pixel = unit.board_to_pixels.apply(Point::new(place[0], place[1]));
        let (row, column) = (pixel.y.round() as usize, pixel.x.round() as usize);
        let seen = unit.apparent_clean.at(row, column).unwrap();
        let there = unit.surface_truth.at(row, column).unwrap();
        assert!(there > 312.0, "the {what} is warm: {there} K");
        assert!(there - seen > 12.0, "the {what} reads {seen} K at {there} K");
    }
}

/// Where the surface of two pictures taken from one pose differs most, in board millimetres, and by how much.
fn strongest_change(
    faulty: &Simulated,
    healthy: &Simulated,
) -> (Point<analysis::geometry::BoardMillimeters>, f64) {
    let change = &faulty.surface_truth.view() - &healthy.surface_truth.view();
    let ((row, column), &peak) =
        change.indexed_iter().max_by(|a, b| a.1.abs().total_cmp(&b.1.abs())).unwrap();
    let pixel = Point::new(column as f64, row as f64);
    (faulty.board_to_pixels.inverse().apply(pixel), f64::from(peak))
}

#[test]
fn each_seeded_fault_changes_the_surface_where_and_as_much_as_stated() {
    let population = sample_population();
    let mut kinds = Vec::new();
    for sample in samples() {
        if !matches!(sample.condition, Condition::Faulty(_)) {
            continue;
        }
        let faulty = sample.simulate(&population).unwrap();
        let fault = faulty.fault.as_ref().unwrap();
        let healthy = population.unit(sample.unit, None).unwrap();
        let (place, peak) = strongest_change(&faulty, &healthy);
        // A picture finds the peak between the places where the statement looked for it.
        assert!((peak / fault.peak - 1.0).abs() < 0.02, "{}: {peak} K, stated {fault:?}", sample.name);
        assert!(place.distance(fault.place) < 1.0, "{}: {place:?}, stated {fault:?}", sample.name);
        kinds.push((fault.kind, fault.designator.clone(), fault.peak, fault.width_mm));
    }
    // What the samples promise: see sample-captures/README.md.
    let [hot, dead, subtle, buried] = kinds.as_slice() else { panic!("{kinds:?}") };
    assert_eq!((hot.0, hot.1.as_str()), ("hot", "Q2"));
    assert!(hot.2 > 8.0);
    assert_eq!((dead.0, dead.1.as_str()), ("dead", "U7"));
    assert!(dead.2 < -8.0);
    assert_eq!((subtle.0, subtle.1.as_str()), ("leaking", "C14"));
    assert!((3.0..4.5).contains(&subtle.2));
    assert_eq!((buried.0, buried.1.as_str()), ("buried-short", "C23"));
    assert!(buried.2 > 2.5 && buried.3 > 15.0);
}

#[test]
fn a_fault_in_a_part_that_is_not_there_is_refused() {
    let population = Population { camera: sharp_camera(), ..sample_population() };
    let error = population.unit(1, Some(&Fault::Dead { designator: "U99" })).unwrap_err();
    assert_eq!(error.to_string(), "the board has no part U99 to put a fault into");
}

#[test]
fn the_current_stated_carries_the_power_dissipated() {
    let population = Population { camera: sharp_camera(), ..sample_population() };
    let healthy = population.unit(6, None).unwrap().metadata.conditions.power().unwrap().value();
    let fault = Fault::Hot { designator: "Q2", extra_watts: 0.3 };
    let hot = population.unit(6, Some(&fault)).unwrap().metadata.conditions.power().unwrap().value();
    // Current is stated to 0.1 mA at 12 V.
    assert!((hot - healthy - 0.3).abs() < 0.0013, "{healthy} W and {hot} W");
}

#[test]
fn the_soaked_capture_is_level_and_taken_from_the_same_place() {
    let population = Population { camera: sharp_camera(), ..sample_population() };
    let soak = Kelvin::from_celsius(60.0).unwrap();
    let (soaked, powered) = (population.soaked(1, soak).unwrap(), population.unit(1, None).unwrap());
    assert_eq!(soaked.board_to_pixels, powered.board_to_pixels);
    assert_eq!(soaked.emissivity_truth, powered.emissivity_truth);
    assert_eq!(soaked.surface_truth.range(), Some((333.15, 333.15)));
}

// ---- Registration truth ----

#[test]
fn the_true_alignment_has_no_error_and_a_shifted_one_has_its_shift() {
    let population = Population { camera: sharp_camera(), ..sample_population() };
    let [baseline, unit] = [1, 2].map(|index| population.unit(index, None).unwrap());
    let size = population.design.size;
    let truth = true_alignment(&unit.board_to_pixels, &baseline.board_to_pixels).unwrap();
    let error = |map: &Homography<UnitPixels, BaselinePixels>| {
        registration_error(map, &unit.board_to_pixels, &baseline.board_to_pixels, size).unwrap()
    };
    assert!(error(&truth).worst_px < 1e-9);
    let shift: Homography<BaselinePixels, BaselinePixels> =
        Homography::try_from([1.0, 0.0, 0.3, 0.0, 1.0, -0.4, 0.0, 0.0, 1.0]).unwrap();
    let shifted = error(&truth.then(&shift));
    assert!((shifted.mean_px - 0.5).abs() < 1e-9 && (shifted.worst_px - 0.5).abs() < 1e-9, "{shifted:?}");
    let unmoved = error(&Homography::identity());
    assert!(unmoved.worst_px > unmoved.mean_px && unmoved.mean_px > 0.5, "captured from different places");
}
