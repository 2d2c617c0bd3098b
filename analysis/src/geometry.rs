//! Places on pictures and boards, and the projective maps between them.
//!
//! A point knows which plane it lies in, so a unit's pixel is never read on the baseline.
//! **Pixel convention**: centres at integers, (0, 0) the top left pixel, x to the right, y down;
//! arrays are indexed `[row, column]` = `[y, x]`. Board millimetres follow the placement file.

use std::marker::PhantomData;

use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

/// The pixels of the unit under test's own capture.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitPixels {}
/// The pixels of the (first) baseline capture: the frame everything is compared in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BaselinePixels {}
/// Millimetres on the board, in the placement file's axes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BoardMillimeters {}

/// A point of the plane `S`. Written to JSON as `[x, y]`.
#[derive(Serialize, Deserialize)]
#[serde(from = "[f64; 2]", into = "[f64; 2]", bound = "")]
pub struct Point<S> {
    /// To the right.
    pub x: f64,
    /// Down, for pixels; along the file's y axis, for millimetres.
    pub y: f64,
    space: PhantomData<S>,
}

impl<S> Point<S> {
    /// The point (x, y).
    #[must_use]
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y, space: PhantomData }
    }

    /// The straight distance to `other`, in the plane's own unit.
    #[must_use]
    pub fn distance(self, other: Self) -> f64 {
        (self.x - other.x).hypot(self.y - other.y)
    }
}

impl<S> Clone for Point<S> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<S> Copy for Point<S> {}
impl<S> PartialEq for Point<S> {
    fn eq(&self, other: &Self) -> bool {
        self.x == other.x && self.y == other.y
    }
}
impl<S> std::fmt::Debug for Point<S> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "({}, {})", self.x, self.y)
    }
}
impl<S> From<[f64; 2]> for Point<S> {
    fn from([x, y]: [f64; 2]) -> Self {
        Self::new(x, y)
    }
}
impl<S> From<Point<S>> for [f64; 2] {
    fn from(point: Point<S>) -> Self {
        [point.x, point.y]
    }
}

/// Nine numbers that are no map of the plane: singular, or not finite.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("these nine numbers are no invertible map of the plane (determinant {determinant})")]
pub struct Degenerate {
    /// The determinant found.
    pub determinant: f64,
}

/// An invertible projective map from the plane `A` to the plane `B`.
///
/// Written to JSON as nine numbers, row by row, the last scaled to 1 where it is not zero.
#[derive(Serialize, Deserialize)]
#[serde(try_from = "[f64; 9]", into = "[f64; 9]", bound = "")]
pub struct Homography<A, B> {
    matrix: Matrix3<f64>,
    spaces: PhantomData<(A, B)>,
}

impl<A, B> Homography<A, B> {
    /// The map that leaves coordinates as they are.
    #[must_use]
    pub fn identity() -> Self {
        Self { matrix: Matrix3::identity(), spaces: PhantomData }
    }

    /// Checks a matrix and scales its last element to 1 where possible.
    ///
    /// # Errors
    /// [`Degenerate`] when the matrix is singular or holds a number that is not finite.
    pub fn from_matrix(matrix: Matrix3<f64>) -> Result<Self, Degenerate> {
        let scale = if matrix[(2, 2)].abs() > 1e-12 { matrix[(2, 2)] } else { 1.0 };
        let matrix = matrix / scale;
        let determinant = matrix.determinant();
        if determinant.is_finite() && determinant.abs() > 1e-12 {
            Ok(Self { matrix, spaces: PhantomData })
        } else {
            Err(Degenerate { determinant })
        }
    }

    /// The matrix, for column vectors (x, y, 1).
    #[must_use]
    pub const fn matrix(&self) -> &Matrix3<f64> {
        &self.matrix
    }

    /// Where `point` lands. A point that the map sends to infinity comes back not finite.
    #[must_use]
    pub fn apply(&self, point: Point<A>) -> Point<B> {
        let v = self.matrix * Vector3::new(point.x, point.y, 1.0);
        Point::new(v.x / v.z, v.y / v.z)
    }

    /// The map back.
    #[must_use]
    pub fn inverse(&self) -> Homography<B, A> {
        // Invertible by construction; the identity stands in for a matrix that rounding made singular.
        let inverse = self.matrix.try_inverse().unwrap_or_else(Matrix3::identity);
        let scale = if inverse[(2, 2)].abs() > 1e-12 { inverse[(2, 2)] } else { 1.0 };
        Homography { matrix: inverse / scale, spaces: PhantomData }
    }

    /// First this map, then `next`.
    #[must_use]
    pub fn then<C>(&self, next: &Homography<B, C>) -> Homography<A, C> {
        let matrix = next.matrix * self.matrix;
        let scale = if matrix[(2, 2)].abs() > 1e-12 { matrix[(2, 2)] } else { 1.0 };
        Homography { matrix: matrix / scale, spaces: PhantomData }
    }

    /// How many `B` lengths one `A` length becomes near `point`, as the geometric mean over directions.
    #[must_use]
    pub fn scale_at(&self, point: Point<A>) -> f64 {
        let origin = self.apply(point);
        let right = self.apply(Point::new(point.x + 1.0, point.y));
        let down = self.apply(Point::new(point.x, point.y + 1.0));
        let area = (right.x - origin.x) * (down.y - origin.y) - (right.y - origin.y) * (down.x - origin.x);
        area.abs().sqrt()
    }
}

impl<A, B> Clone for Homography<A, B> {
    fn clone(&self) -> Self {
        Self { matrix: self.matrix, spaces: PhantomData }
    }
}
impl<A, B> PartialEq for Homography<A, B> {
    fn eq(&self, other: &Self) -> bool {
        self.matrix == other.matrix
    }
}
impl<A, B> std::fmt::Debug for Homography<A, B> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Homography{:?}", <[f64; 9]>::from(self.clone()))
    }
}
impl<A, B> TryFrom<[f64; 9]> for Homography<A, B> {
    type Error = Degenerate;
    fn try_from(rows: [f64; 9]) -> Result<Self, Degenerate> {
        Self::from_matrix(Matrix3::from_row_slice(&rows))
    }
}
impl<A, B> From<Homography<A, B>> for [f64; 9] {
    fn from(map: Homography<A, B>) -> Self {
        let m = map.matrix;
        [m[(0, 0)], m[(0, 1)], m[(0, 2)], m[(1, 0)], m[(1, 1)], m[(1, 2)], m[(2, 0)], m[(2, 1)], m[(2, 2)]]
    }
}

/// The whole numbers from `least` to `most`, both included, that are below `count`.
pub(crate) fn whole_numbers(least: f64, most: f64, count: usize) -> std::ops::Range<usize> {
    // Casts from f64 saturate: below zero is 0, beyond the picture is cut by `count`.
    let start = (least.ceil().max(0.0) as usize).min(count);
    let end = if most < 0.0 { 0 } else { (most.floor() as usize).saturating_add(1) };
    start..end.clamp(start, count)
}

#[cfg(test)]
mod tests {
    use super::*;

    type Map = Homography<UnitPixels, BaselinePixels>;

    #[test]
    fn the_inverse_undoes_the_map() {
        let map = Map::try_from([0.97, -0.0145, 12.0, 0.0189, 0.95, 8.0, 6.6e-6, 1.7e-5, 1.0]).unwrap();
        let there = map.apply(Point::new(320.0, 240.0));
        let back = map.inverse().apply(there);
        assert!(back.distance(Point::new(320.0, 240.0)) < 1e-9);
    }

    #[test]
    fn a_singular_matrix_is_refused() {
        assert!(Map::try_from([1.0, 2.0, 0.0, 2.0, 4.0, 0.0, 0.0, 0.0, 1.0]).is_err());
        assert!(Map::try_from([f64::NAN; 9]).is_err());
    }

    #[test]
    fn json_is_nine_numbers() {
        let json = serde_json::to_string(&Map::identity()).unwrap();
        assert_eq!(json, "[1.0,0.0,0.0,0.0,1.0,0.0,0.0,0.0,1.0]");
        assert_eq!(serde_json::from_str::<Map>(&json).unwrap(), Map::identity());
    }
}
