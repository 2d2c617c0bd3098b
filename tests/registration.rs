//! Alignment and warping against known warps and independent libraries.

#[path = "registration/board.rs"]
mod board;

use std::path::PathBuf;

use analysis::frame::{ApparentKelvin, Frame};
use analysis::geometry::{BaselinePixels, Homography, Point, UnitPixels};
use analysis::homography_fit::fit_homography;
use analysis::registration::{
    Alignment, AlignmentRefused, LandmarkPair, LandmarkUse, Picture, align, smoothing::gaussian_blur, warp,
};
use board::{Board, Halo, Part, UnitMap, centered, mean_error, mean_error_of};
use ndarray::Array2;

/// Mean error over the board that an alignment must keep to, pixels.
const WITHIN_PX: f64 = 0.1;
/// Camera noise in the pictures, K.
const NOISE: f32 = 0.05;
const SHAPE: (usize, usize) = (480, 640);

fn baseline_of(board: &Board) -> Frame<ApparentKelvin> {
    board.seen(&UnitMap::identity(), SHAPE, NOISE, 1)
}

fn align_alone(
    unit: &Frame<ApparentKelvin>,
    baseline: &Frame<ApparentKelvin>,
) -> Result<Alignment, AlignmentRefused> {
    align(unit, baseline, &[], LandmarkUse::Start)
}

/// Aligns and checks the error over the board against the bound, and the stated error against the found one.
#[track_caller]
fn assert_found(what: &str, board: &Board, unit: &Frame<ApparentKelvin>, truth: &UnitMap) -> Alignment {
    let found = align_alone(unit, &baseline_of(board)).unwrap_or_else(|error| panic!("{what}: {error}"));
    let error = mean_error_of(board.outline, unit.shape(), truth, &found.homography);
    println!(
        "{what}: error {error:.4} px, stated {:.4}, confidence {:.3}",
        found.residual_px, found.confidence
    );
    assert!(error <= WITHIN_PX, "{what}: {error:.3} px off, {WITHIN_PX} allowed");
    assert!(found.residual_px < 3.0 * WITHIN_PX, "{what}: states {:.3} px for {error:.3}", found.residual_px);
    // A statement of the right size: not below a third of what it states.
    assert!(error < 3.0 * found.residual_px, "{what}: states {:.4} px for {error:.4}", found.residual_px);
    found
}

#[test]
fn known_views_are_found_to_a_tenth_of_a_pixel() {
    let board = Board::invented(7);
    for (turn, scale, shift, tilt) in [
        (0.0, 1.0, [0.0, 0.0], [0.0, 0.0]),
        (0.0, 1.0, [0.37, -0.61], [0.0, 0.0]),
        (1.0, 1.01, [3.0, -2.0], [0.0, 0.0]),
        (-2.0, 0.98, [-5.5, 7.25], [2e-5, -1e-5]),
        (2.0, 1.0, [12.0, 9.0], [-4e-5, 5e-5]),
        (0.0, 1.0, [-40.0, 30.0], [0.0, 0.0]),
        (5.0, 1.05, [20.0, -10.0], [3e-5, 3e-5]),
        (-5.0, 0.93, [-30.0, 10.0], [0.0, 6e-5]),
        (10.0, 1.15, [10.0, 20.0], [2e-5, -2e-5]),
        (-10.0, 0.85, [-15.0, -25.0], [-2e-5, 2e-5]),
        (10.0, 0.85, [0.0, 0.0], [0.0, 0.0]),
        (-10.0, 1.15, [0.0, 0.0], [0.0, 0.0]),
    ] {
        let truth = centered(SHAPE, turn, scale, shift, tilt);
        let unit = board.seen(&truth, SHAPE, NOISE, 2);
        assert_found(
            &format!("turn {turn}, scale {scale}, shift {shift:?}, tilt {tilt:?}"),
            &board,
            &unit,
            &truth,
        );
    }
}

#[test]
fn faults_do_not_pull_the_alignment() {
    let board = Board::invented(11);
    let truth = centered(SHAPE, 1.5, 1.01, [4.2, -3.1], [1e-5, -2e-5]);
    let hot = Part::new([300.0, 200.0, 320.0, 220.0], 30.0);
    let cold = Part::new([100.0, 250.0, 220.0, 340.0], -10.0);
    let halo = Halo { center: [310.0, 210.0], width: 25.0, rise: 15.0 };
    let largest = |part: &Part| (part.right - part.left) * (part.bottom - part.top);
    let removed = (1..board.parts.len())
        .max_by(|&a, &b| largest(&board.parts[a]).total_cmp(&largest(&board.parts[b])))
        .unwrap();

    let mut with_hot = board.clone();
    with_hot.parts.push(hot.clone());
    let mut with_halo = with_hot.clone();
    with_halo.halos.push(halo);
    let mut with_cold = board.clone();
    with_cold.parts.push(cold.clone());
    let mut without = board.clone();
    without.parts.remove(removed);
    let mut everything = without.clone();
    everything.parts.extend([hot, cold]);
    for (what, faulty, gain, offset) in [
        ("a hot part", &with_hot, 1.0, 0.0),
        ("a hot part with its halo", &with_halo, 1.0, 0.0),
        ("a cold region", &with_cold, 1.0, 0.0),
        ("a missing part", &without, 1.0, 0.0),
        ("more power and a warmer room", &board, 1.08, 3.0),
        ("half the power", &board, 0.5, -4.0),
        ("all at once", &everything, 1.08, 3.0),
    ] {
        let unit = faulty
            .seen(&truth, SHAPE, NOISE, 3)
            .map(|v| ((f64::from(v) - 296.0) * gain + 296.0 + offset) as f32);
        assert_found(what, &board, &unit, &truth);
    }
}

#[test]
fn invalid_pixels_do_not_pull_the_alignment() {
    let board = Board::invented(12);
    let truth = centered(SHAPE, -1.0, 1.0, [2.5, 3.5], [0.0, 0.0]);
    let mut values = board.seen(&truth, SHAPE, NOISE, 4).into_array();
    for ((row, column), value) in values.indexed_iter_mut() {
        if (100..200).contains(&row) && (150..330).contains(&column) {
            *value = f32::NAN;
        }
    }
    for row in (0..480).step_by(37) {
        for column in (0..640).step_by(23) {
            values[(row, column)] = f32::NAN;
        }
    }
    let found = assert_found("gaps", &board, &Frame::new(values).unwrap(), &truth);
    assert!(found.overlap < 0.95);
}

#[test]
fn pictures_of_another_size_are_aligned() {
    let board = Board::invented(13);
    // The same field of view on a quarter of the pixels: pixel (x, y) is centred on (2x + 0.5, 2y + 0.5).
    let coarse = UnitMap::try_from([2.0, 0.0, 0.5, 0.0, 2.0, 0.5, 0.0, 0.0, 1.0]).unwrap();
    let moved =
        coarse.then(&Homography::try_from([1.0, -0.02, 6.0, 0.02, 1.0, -3.0, 0.0, 0.0, 1.0]).unwrap());
    assert_found("a quarter of the pixels", &board, &board.seen(&moved, (240, 320), NOISE, 5), &moved);
    // A window of the same camera.
    let window = UnitMap::try_from([1.0, 0.0, 61.4, 0.0, 1.0, 38.7, 0.0, 0.0, 1.0]).unwrap();
    assert_found("a window", &board, &board.seen(&window, (420, 520), NOISE, 6), &window);
}

#[test]
fn another_board_is_refused() {
    let baseline = baseline_of(&Board::invented(7));
    let view = centered(SHAPE, 1.0, 1.0, [3.0, 2.0], [0.0, 0.0]);
    for seed in 101..105 {
        // With the same outline as the baseline, and without any.
        let mut other = Board::invented(seed);
        let same_outline = align_alone(&other.seen(&view, SHAPE, NOISE, 7), &baseline);
        other.parts.remove(0);
        let no_outline = align_alone(&other.seen(&view, SHAPE, NOISE, 7), &baseline);
        for refused in [same_outline, no_outline] {
            println!("{refused:?}");
            assert!(matches!(refused, Err(AlignmentRefused::CorrelationTooLow { .. })), "{refused:?}");
        }
    }
}

#[test]
fn an_even_picture_is_refused_with_its_name() {
    let board = Board::invented(7);
    let blank = Board { parts: vec![], halos: vec![], outline: board.outline };
    let baseline = baseline_of(&board);
    for noise in [0.0, NOISE, 0.5] {
        let even = blank.seen(&UnitMap::identity(), SHAPE, noise, 8);
        assert!(matches!(
            align_alone(&even, &baseline),
            Err(AlignmentRefused::TooLittleDetail { picture: Picture::Unit, .. })
        ));
        assert!(matches!(
            align_alone(&baseline, &even),
            Err(AlignmentRefused::TooLittleDetail { picture: Picture::Baseline, .. })
        ));
    }
    // Smooth heat without a board is no detail to align by either.
    let warm = Board { halos: board.halos.clone(), ..blank };
    assert!(align_alone(&warm.seen(&UnitMap::identity(), SHAPE, NOISE, 8), &baseline).is_err());
    let nothing = Frame::new(Array2::from_elem(SHAPE, f32::NAN)).unwrap();
    assert!(align_alone(&nothing, &baseline).is_err());
    let tiny = Frame::new(Array2::from_elem((1, 1), 300.0)).unwrap();
    assert!(align_alone(&tiny, &tiny).is_err());
}

fn landmarks(truth: &UnitMap, places: &[[f64; 2]], wrong_by: [f64; 2]) -> Vec<LandmarkPair> {
    let back = truth.inverse();
    (places.iter())
        .map(|&[x, y]| LandmarkPair {
            unit: back.apply(Point::new(x, y)),
            baseline: Point::new(x + wrong_by[0], y + wrong_by[1]),
        })
        .collect()
}

#[test]
fn landmarks_start_the_fit_where_the_search_does_not_reach() {
    let board = Board::invented(14);
    let baseline = baseline_of(&board);
    let truth = centered(SHAPE, 178.0, 0.95, [8.0, 5.0], [1e-5, 1e-5]);
    let unit = board.seen(&truth, SHAPE, NOISE, 9);
    assert!(align_alone(&unit, &baseline).is_err());
    // Two marks, each three pixels off, settle the turn; the fit does the rest.
    let marks = landmarks(&truth, &[[100.0, 100.0], [500.0, 380.0]], [2.0, -2.0]);
    let found = align(&unit, &baseline, &marks, LandmarkUse::Start).unwrap();
    assert!(mean_error(&board, &truth, &found.homography) <= WITHIN_PX);
}

#[test]
fn landmarks_override_the_fit_and_their_error_is_stated() {
    let board = Board::invented(15);
    let baseline = baseline_of(&board);
    let truth = centered(SHAPE, 1.0, 1.0, [3.0, 1.0], [0.0, 0.0]);
    let unit = board.seen(&truth, SHAPE, NOISE, 10);
    let corners = [[80.0, 80.0], [560.0, 80.0], [560.0, 400.0], [80.0, 400.0]];
    let marks = landmarks(&truth, &corners, [0.6, 0.8]);
    let found = align(&unit, &baseline, &marks, LandmarkUse::Override).unwrap();
    for mark in &marks {
        assert!(found.homography.apply(mark.unit).distance(mark.baseline) < 1e-6);
    }
    // All marks are one pixel off.
    assert!((found.residual_px - 1.0).abs() < 0.1, "{}", found.residual_px);
}

#[test]
fn landmarks_that_contradict_the_pictures_are_refused() {
    let board = Board::invented(16);
    let baseline = baseline_of(&board);
    let unit = board.seen(&centered(SHAPE, 0.5, 1.0, [2.0, 1.0], [0.0, 0.0]), SHAPE, NOISE, 11);
    let marks = landmarks(&UnitMap::identity(), &[[100.0, 100.0], [500.0, 380.0]], [25.0, 0.0]);
    let refused = align(&unit, &baseline, &marks, LandmarkUse::Start);
    assert!(
        matches!(refused, Err(AlignmentRefused::LandmarksContradict { found_px, .. }) if found_px > 15.0),
        "{refused:?}"
    );
    assert!(matches!(
        align(&unit, &baseline, &[], LandmarkUse::Override),
        Err(AlignmentRefused::Landmarks(_))
    ));
}

#[test]
fn too_small_an_overlap_is_refused() {
    let board = Board::invented(17);
    let truth = centered(SHAPE, 0.0, 1.0, [350.0, 0.0], [0.0, 0.0]);
    let unit = board.seen(&truth, SHAPE, NOISE, 12);
    let marks = landmarks(&truth, &[[400.0, 100.0], [500.0, 380.0]], [0.0, 0.0]);
    for landmark_use in [LandmarkUse::Start, LandmarkUse::Override] {
        let refused = align(&unit, &baseline_of(&board), &marks, landmark_use);
        assert!(
            matches!(refused, Err(AlignmentRefused::TooLittleOverlap { found, .. }) if (found - 290.0 / 640.0).abs() < 0.01),
            "{refused:?}"
        );
    }
}

/// Multiplying a picture by 1.7 and adding 30 moves OpenCV's ECC answer by 0.0008 pixel at most (measured
/// with OpenCV on a comparable pair); Evangelidis and Psarakis 2008 show why it should not move at all.
#[test]
fn gain_and_offset_hardly_move_the_answer() {
    let board = Board::invented(18);
    let baseline = baseline_of(&board);
    let truth = centered(SHAPE, 1.2, 1.0, [3.4, -2.2], [0.0, 0.0]);
    let unit = board.seen(&truth, SHAPE, NOISE, 13);
    let plain = align_alone(&unit, &baseline).unwrap();
    let changed = align_alone(&unit.map(|v| 1.7 * (v - 280.0) + 310.0), &baseline).unwrap();
    assert!(mean_error(&board, &plain.homography, &changed.homography) < 0.005);
    assert!(mean_error(&board, &truth, &plain.homography) < 0.02);
}

/// The four corners worked out with NumPy's singular value decomposition; OpenCV agrees to 7e-12.
#[test]
fn the_projective_map_through_four_corners_is_that_of_opencv() {
    let pairs: Vec<(Point<UnitPixels>, Point<BaselinePixels>)> = [
        ([0.0, 0.0], [12.0, 8.0]),
        ([640.0, 0.0], [630.0, 20.0]),
        ([640.0, 480.0], [618.0, 470.0]),
        ([0.0, 480.0], [5.0, 460.0]),
    ]
    .map(|(from, to)| (from.into(), to.into()))
    .to_vec();
    let found = <[f64; 9]>::from(fit_homography(&pairs).unwrap());
    let expected =
        [0.969819749, -0.0144974997, 12.0, 0.0188831666, 0.949563358, 8.0, 6.65833243e-6, 1.71667210e-5, 1.0];
    for (found, expected) in found.into_iter().zip(expected) {
        // Nine figures are given.
        assert!((found - expected).abs() < 1e-8 * f64::max(1.0, f64::abs(expected)), "{found} {expected}");
    }
    let center = fit_homography(&pairs).unwrap().apply(Point::new(320.0, 240.0));
    assert!(center.distance(Point::new(316.88219089, 240.43493761)) < 1e-7);
}

fn data(name: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/registration").join(name)
}

fn values() -> serde_json::Value {
    serde_json::from_str(&std::fs::read_to_string(data("values.json")).unwrap()).unwrap()
}

/// A grey picture as temperatures, a tenth of a kelvin per level.
fn photograph(name: &str) -> Frame<ApparentKelvin> {
    let grey = image::open(data(name)).unwrap().into_luma8();
    let numbers = grey.pixels().map(|pixel| 290.0 + 0.1 * f32::from(pixel.0[0])).collect();
    Frame::from_rows(grey.height() as usize, grey.width() as usize, numbers).unwrap()
}

/// Photographs bundled with scikit-image, warped with SciPy's fifth-order spline (make_values.py).
#[test]
fn photographs_warped_by_scipy_are_aligned_as_well_as_by_opencv() {
    for pair in values()["pairs"].as_array().unwrap() {
        let name = pair["name"].as_str().unwrap();
        let map = |key: &str| serde_json::from_value::<UnitMap>(pair[key].clone()).unwrap();
        let (unit, baseline) =
            (photograph(&format!("{name}_unit.png")), photograph(&format!("{name}_baseline.png")));
        let found = align_alone(&unit, &baseline).unwrap();
        let whole = [0.0, 0.0, 159.0, 159.0];
        let error = |map: &UnitMap| mean_error_of(whole, (160, 160), &truth(pair), map);
        let (ours, opencv) = (error(&found.homography), error(&map("opencv_ecc")));
        println!("{name}: {ours:.4} px, OpenCV {opencv:.4} px, stated {:.4}", found.residual_px);
        assert!(ours <= WITHIN_PX && ours <= 1.5 * opencv, "{name}: {ours:.4} px, OpenCV {opencv:.4} px");
    }
}

fn truth(pair: &serde_json::Value) -> UnitMap {
    serde_json::from_value(pair["homography"].clone()).unwrap()
}

/// Pillow's bicubic resize has Keys' kernel with a = −1/2 (make_values.py).
#[test]
fn warping_interpolates_as_pillow_does() {
    let values = values();
    let source: Vec<Vec<f32>> = serde_json::from_value(values["keys_source"].clone()).unwrap();
    let frame: Frame<ApparentKelvin> =
        Frame::from_rows(source.len(), source[0].len(), source.concat()).unwrap();
    for case in values["keys"].as_array().unwrap() {
        let bounds: [f64; 4] = serde_json::from_value(case["box"].clone()).unwrap();
        let rows: Vec<Vec<f32>> = serde_json::from_value(case["rows"].clone()).unwrap();
        let (width, height) = (rows[0].len() as f64, rows.len() as f64);
        let (across, down) = ((bounds[2] - bounds[0]) / width, (bounds[3] - bounds[1]) / height);
        // Pillow counts from pixel edges: target pixel i is centred on left + (i + 1/2) × size.
        let back = Homography::<BaselinePixels, UnitPixels>::try_from([
            across,
            0.0,
            bounds[0] + 0.5 * across - 0.5,
            0.0,
            down,
            bounds[1] + 0.5 * down - 0.5,
            0.0,
            0.0,
            1.0,
        ])
        .unwrap();
        let warped = warp(&frame, &back.inverse(), (rows.len(), rows[0].len()));
        for (row, line) in rows.iter().enumerate() {
            for (column, expected) in line.iter().enumerate() {
                // Places are rounded to half a thousandth of a pixel; neighbours differ by up to 60 levels.
                let found = warped.at(row, column).unwrap();
                assert!((found - expected).abs() < 0.05, "{bounds:?} {row} {column}: {found} {expected}");
            }
        }
    }
}

#[test]
fn warping_there_and_back_keeps_a_smooth_picture() {
    let board = Board::invented(19);
    let truth = centered(SHAPE, 4.0, 1.03, [5.0, -3.0], [2e-5, 1e-5]);
    // The warp of the board and the board drawn under the same map are the same picture.
    let smooth = |map: &UnitMap| {
        let mut soft = board.clone();
        soft.parts.iter_mut().for_each(|part| part.blur = 2.0);
        soft.seen(map, SHAPE, 0.0, 0)
    };
    let warped = warp(&smooth(&truth), &truth, SHAPE);
    let drawn = smooth(&UnitMap::identity());
    let both: Vec<f32> = (warped.as_slice().iter().zip(drawn.as_slice()))
        .map(|(a, b)| (a - b).abs())
        .filter(|gap| !gap.is_nan())
        .collect();
    assert!(both.len() > 250_000);
    let most = both.iter().copied().fold(0.0, f32::max);
    // Fourth-order error of edges of 10 K and a blur of 2 pixels: below one per cent of them.
    assert!(most < 0.1, "{most}");
}

#[test]
fn smoothing_lowers_noise_as_theory_says() {
    // White noise through a Gaussian of σ pixels keeps the standard deviation 1 / (2 √π σ) of it.
    let blank = Board { parts: vec![], halos: vec![], outline: [0.0; 4] };
    let smoothed = gaussian_blur(&blank.seen(&UnitMap::identity(), SHAPE, 1.0, 14), 2.0);
    let expected = 1.0 / (2.0 * std::f64::consts::PI.sqrt() * 2.0);
    let inner = Array2::from_shape_fn((460, 620), |(row, column)| {
        f64::from(smoothed.view()[(row + 10, column + 10)])
    });
    assert!((inner.std(0.0) / expected - 1.0).abs() < 0.03, "{}", inner.std(0.0));
}
