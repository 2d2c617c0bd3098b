//! What a simulation knows for certain, and how far an estimate lies from it.

use nalgebra::Matrix3;

use crate::capture::metadata::CapturePixels;
use crate::geometry::{BaselinePixels, BoardMillimeters, Degenerate, Homography, Point, UnitPixels};

/// The fault that was put into a unit.
#[derive(Debug, Clone, PartialEq)]
pub struct SeededFault {
    /// `hot`, `dead`, `leaking` or `buried-short`.
    pub kind: &'static str,
    /// The part at fault, or the one nearest to a buried short.
    pub designator: String,
    /// Where the surface changes most.
    pub place: Point<BoardMillimeters>,
    /// The largest change of surface temperature that the fault alone makes, K, with its sign.
    pub peak: f64,
    /// Diameter of the disc whose area equals that of all places that change by more than half the peak, mm.
    pub width_mm: f64,
}

/// The map that a perfect alignment would find.
///
/// # Errors
/// [`Degenerate`] cannot occur for two maps that exist; it is passed on all the same.
pub fn true_alignment(
    unit: &Homography<BoardMillimeters, CapturePixels>,
    baseline: &Homography<BoardMillimeters, CapturePixels>,
) -> Result<Homography<UnitPixels, BaselinePixels>, Degenerate> {
    let matrix: Matrix3<f64> = baseline.matrix() * unit.inverse().matrix();
    Homography::from_matrix(matrix)
}

/// How far an estimated map lies from the truth over a board, in baseline pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RegistrationError {
    /// Mean distance over places of the board.
    pub mean_px: f64,
    /// The largest distance at any of them.
    pub worst_px: f64,
}

/// The distances, in baseline pixels, between where `estimated` and the truth put the unit's board:
/// over places 2.5 mm apart on a board of `size` mm, its edges and corners among them.
///
/// # Errors
/// See [`true_alignment`].
pub fn registration_error(
    estimated: &Homography<UnitPixels, BaselinePixels>,
    unit: &Homography<BoardMillimeters, CapturePixels>,
    baseline: &Homography<BoardMillimeters, CapturePixels>,
    size: [f64; 2],
) -> Result<RegistrationError, Degenerate> {
    let truth = true_alignment(unit, baseline)?;
    let steps = |length: f64| (length / 2.5).round().max(1.0) as usize;
    let (columns, rows) = (steps(size[0]), steps(size[1]));
    let (mut sum, mut worst_px) = (0.0, 0.0_f64);
    for row in 0..=rows {
        for column in 0..=columns {
            let x = size[0] * column as f64 / columns as f64;
            let y = size[1] * row as f64 / rows as f64;
            let pixel = unit.apply(Point::new(x, y));
            let pixel = Point::new(pixel.x, pixel.y);
            let distance = estimated.apply(pixel).distance(truth.apply(pixel));
            sum += distance;
            worst_px = worst_px.max(distance);
        }
    }
    Ok(RegistrationError { mean_px: sum / ((rows + 1) * (columns + 1)) as f64, worst_px })
}
