//! Alignment and warping against known warps and independent libraries.

#[path = "registration/board.rs"]
mod board;

use analysis::registration::{LandmarkUse, align};
use board::{Board, UnitMap, centered, mean_error};

/// Mean error over the board that an alignment must keep to, pixels.
const WITHIN_PX: f64 = 0.1;
/// Camera noise in the pictures, K.
const NOISE: f32 = 0.05;

fn aligned_error(board: &Board, faulty: &Board, truth: &UnitMap, gain: f64, offset: f64) -> f64 {
    let baseline = board.seen(&UnitMap::identity(), (480, 640), NOISE, 1);
    let unit = faulty
        .seen(truth, (480, 640), NOISE, 2)
        .map(|v| ((f64::from(v) - 296.0) * gain + 296.0 + offset) as f32);
    let clock = std::time::Instant::now();
    let found = align(&unit, &baseline, &[], LandmarkUse::Start);
    let time = clock.elapsed();
    match found {
        Ok(found) => {
            let error = mean_error(board, truth, &found.homography);
            eprintln!(
                "error {error:.4} px, estimated {:.4}, confidence {:.3}, overlap {:.3}, {time:?}",
                found.residual_px, found.confidence, found.overlap
            );
            error
        }
        Err(error) => {
            eprintln!("{error} {time:?}");
            f64::INFINITY
        }
    }
}

#[test]
fn known_warps_are_found_to_a_tenth_of_a_pixel() {
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
        let truth = centered((480, 640), turn, scale, shift, tilt);
        eprint!("{turn} {scale} {shift:?} {tilt:?}: ");
        let error = aligned_error(&board, &board, &truth, 1.0, 0.0);
        assert!(
            error <= WITHIN_PX,
            "turn {turn}°, scale {scale}, shift {shift:?}, tilt {tilt:?}: {error:.3} px"
        );
    }
}
