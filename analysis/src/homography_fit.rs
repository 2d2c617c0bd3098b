//! The projective map that leads from these points to those.
//!
//! A map of the plane has eight unknowns and each pair of points gives two equations, so four pairs in
//! general position settle it; more are met in the least-squares sense of the algebraic distance. Fewer
//! pairs, or pairs that lie badly, settle only a poorer model: [`fit_through`] takes the richest one the
//! pairs allow and says which.
//!
//! # Source
//! R. Hartley, A. Zisserman, *Multiple View Geometry in Computer Vision*, 2nd ed. 2004, chapter 4:
//! direct linear transformation with normalised points (Algorithm 4.2).

use nalgebra::{DMatrix, Matrix3, SVD};
use serde::{Deserialize, Serialize};

use crate::geometry::{Homography, Point};

/// How narrow a cloud of points may be, against its length, before it counts as a straight line.
const NARROWEST: f64 = 1e-3;
/// How close to zero the second-smallest singular value may come, against the largest, before two
/// different maps fit the pairs equally well.
const SHALLOWEST: f64 = 1e-6;

/// Why no map could be fitted.
#[derive(Debug, Clone, PartialEq, thiserror::Error, Serialize, Deserialize)]
pub enum FitError {
    /// Fewer pairs than the map has unknowns.
    #[error("{found} pairs of points do not settle the map: at least {needed} are needed")]
    TooFewPairs {
        /// Pairs given.
        found: usize,
        /// Pairs needed.
        needed: usize,
    },
    /// A coordinate is not a finite number.
    #[error("pair {index} holds a coordinate that is not a finite number")]
    NotFinite {
        /// Which pair, from 0.
        index: usize,
    },
    /// The points lie on one place or one line, or three of four do, so more than one map fits.
    #[error("the points lie too nearly on a line or on one place to settle the map: spread them out")]
    Degenerate,
    /// The best map would turn part of the picture inside out: some pairs are swapped.
    #[error("no camera sees these pairs at once: some of them are probably swapped")]
    Folded,
}

/// How much freedom a fitted map has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MapModel {
    /// A shift: two unknowns, one pair.
    Shift,
    /// Shift, rotation and one scale: four unknowns, two pairs.
    Similarity,
    /// Any map that keeps lines parallel: six unknowns, three pairs.
    Affine,
    /// Any map that keeps lines straight: eight unknowns, four pairs.
    Projective,
}

/// A map through landmarks.
#[derive(Debug, Clone, PartialEq)]
pub struct ThroughFit<A, B> {
    /// The map.
    pub homography: Homography<A, B>,
    /// How much freedom the pairs allowed it.
    pub model: MapModel,
    /// Root-mean-square distance in `B` between where the map sends the points and where they belong.
    pub rms_distance: f64,
}

/// The projective map that leads from the first points of `pairs` to the second.
///
/// Exact for four pairs; for more, the least-squares map of the algebraic distance in normalised
/// coordinates.
///
/// # Errors
/// [`FitError::TooFewPairs`] below four, [`FitError::Degenerate`] when three of four points are in line,
/// [`FitError::Folded`] when the pairs lie on both sides of the map's horizon.
pub fn fit_homography<A, B>(pairs: &[(Point<A>, Point<B>)]) -> Result<Homography<A, B>, FitError> {
    let (from, to) = normalized_sides(pairs, 4)?;
    // Two rows per pair; padded to nine so that the decomposition holds the null vector.
    let mut equations = DMatrix::<f64>::zeros((2 * pairs.len()).max(9), 9);
    for (index, (&[x, y], &[u, v])) in from.points.iter().zip(&to.points).enumerate() {
        let about_v = [0.0, 0.0, 0.0, -x, -y, -1.0, v * x, v * y, v];
        let about_u = [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y, -u];
        for column in 0..9 {
            equations[(2 * index, column)] = about_v[column];
            equations[(2 * index + 1, column)] = about_u[column];
        }
    }
    let decomposed = SVD::try_new(equations, false, true, f64::EPSILON, 1000).ok_or(FitError::Degenerate)?;
    let directions = decomposed.v_t.as_ref().ok_or(FitError::Degenerate)?;
    if decomposed.singular_values[7] < SHALLOWEST * decomposed.singular_values[0] {
        return Err(FitError::Degenerate);
    }
    let null = directions.row(8);
    let normalized = Matrix3::from_fn(|row, column| null[3 * row + column]);
    if normalized.determinant().abs() < SHALLOWEST {
        return Err(FitError::Degenerate);
    }
    denormalize(&normalized, &from, &to)
}

/// The richest map the pairs allow: a shift through one pair, a similarity through two, an affine map
/// through three, a projective one through four or more; one step poorer where the points lie badly.
///
/// # Errors
/// [`FitError::TooFewPairs`] without a pair, [`FitError::NotFinite`], [`FitError::Degenerate`] when
/// several pairs fall on one place.
pub fn fit_through<A, B>(pairs: &[(Point<A>, Point<B>)]) -> Result<ThroughFit<A, B>, FitError> {
    let attempts: [(MapModel, Fit<A, B>); 4] = [
        (MapModel::Projective, fit_homography),
        (MapModel::Affine, fit_affine),
        (MapModel::Similarity, fit_similarity),
        (MapModel::Shift, fit_shift),
    ];
    let mut reason = FitError::TooFewPairs { found: pairs.len(), needed: 1 };
    for (model, fit) in attempts {
        match fit(pairs) {
            Ok(homography) => {
                let rms_distance = rms_distance(&homography, pairs);
                return Ok(ThroughFit { homography, model, rms_distance });
            }
            Err(FitError::TooFewPairs { .. }) => {}
            Err(FitError::Degenerate) if model > MapModel::Similarity => {}
            Err(error) => return Err(error),
        }
        reason = FitError::TooFewPairs { found: pairs.len(), needed: 1 };
    }
    Err(reason)
}

type Fit<A, B> = fn(&[(Point<A>, Point<B>)]) -> Result<Homography<A, B>, FitError>;

/// The least-squares affine map; three pairs or more.
fn fit_affine<A, B>(pairs: &[(Point<A>, Point<B>)]) -> Result<Homography<A, B>, FitError> {
    let (from, to) = normalized_sides(pairs, 3)?;
    if from.is_line() || to.is_line() {
        return Err(FitError::Degenerate);
    }
    let mut normal = Matrix3::<f64>::zeros();
    let mut right = Matrix3::<f64>::zeros();
    for (&[x, y], &[u, v]) in from.points.iter().zip(&to.points) {
        let place = nalgebra::Vector3::new(x, y, 1.0);
        normal += place * place.transpose();
        right += nalgebra::Vector3::new(u, v, 1.0) * place.transpose();
    }
    let inverse = normal.try_inverse().ok_or(FitError::Degenerate)?;
    denormalize(&(right * inverse), &from, &to)
}

/// The least-squares similarity; two pairs or more.
///
/// With points as complex numbers about their centroids, q = s p has the solution s = Σ q p̄ / Σ |p|².
fn fit_similarity<A, B>(pairs: &[(Point<A>, Point<B>)]) -> Result<Homography<A, B>, FitError> {
    let (from, to) = normalized_sides(pairs, 2)?;
    let (mut along, mut across, mut length) = (0.0, 0.0, 0.0);
    for (&[x, y], &[u, v]) in from.points.iter().zip(&to.points) {
        along += u * x + v * y;
        across += v * x - u * y;
        length += x * x + y * y;
    }
    let (along, across) = (along / length, across / length);
    denormalize(&Matrix3::new(along, -across, 0.0, across, along, 0.0, 0.0, 0.0, 1.0), &from, &to)
}

/// The mean shift; one pair or more.
fn fit_shift<A, B>(pairs: &[(Point<A>, Point<B>)]) -> Result<Homography<A, B>, FitError> {
    require(pairs, 1)?;
    let n = pairs.len() as f64;
    let x = pairs.iter().map(|(from, to)| to.x - from.x).sum::<f64>() / n;
    let y = pairs.iter().map(|(from, to)| to.y - from.y).sum::<f64>() / n;
    Homography::from_matrix(Matrix3::new(1.0, 0.0, x, 0.0, 1.0, y, 0.0, 0.0, 1.0))
        .map_err(|_| FitError::Degenerate)
}

/// Root-mean-square distance between the mapped first points and the second.
fn rms_distance<A, B>(map: &Homography<A, B>, pairs: &[(Point<A>, Point<B>)]) -> f64 {
    let sum: f64 = pairs.iter().map(|&(from, to)| map.apply(from).distance(to).powi(2)).sum();
    (sum / pairs.len().max(1) as f64).sqrt()
}

fn require<A, B>(pairs: &[(Point<A>, Point<B>)], needed: usize) -> Result<(), FitError> {
    if pairs.len() < needed {
        return Err(FitError::TooFewPairs { found: pairs.len(), needed });
    }
    let finite = |(from, to): &(Point<A>, Point<B>)| {
        from.x.is_finite() && from.y.is_finite() && to.x.is_finite() && to.y.is_finite()
    };
    pairs.iter().position(|pair| !finite(pair)).map_or(Ok(()), |index| Err(FitError::NotFinite { index }))
}

/// Points with their centroid at the origin and a mean distance of √2 from it.
struct Normalized {
    points: Vec<[f64; 2]>,
    center: [f64; 2],
    scale: f64,
}

impl Normalized {
    fn new(points: Vec<[f64; 2]>) -> Result<Self, FitError> {
        let n = points.len() as f64;
        let center = points.iter().fold([0.0, 0.0], |[x, y], p| [x + p[0] / n, y + p[1] / n]);
        let distance = points.iter().map(|p| (p[0] - center[0]).hypot(p[1] - center[1])).sum::<f64>() / n;
        let scale = std::f64::consts::SQRT_2 / distance;
        if !scale.is_finite() {
            return Err(FitError::Degenerate);
        }
        let points =
            points.iter().map(|p| [(p[0] - center[0]) * scale, (p[1] - center[1]) * scale]).collect();
        Ok(Self { points, center, scale })
    }

    /// From the points' own coordinates to normalised ones.
    fn matrix(&self) -> Matrix3<f64> {
        let (s, [x, y]) = (self.scale, self.center);
        Matrix3::new(s, 0.0, -s * x, 0.0, s, -s * y, 0.0, 0.0, 1.0)
    }

    /// From normalised coordinates back.
    fn matrix_back(&self) -> Matrix3<f64> {
        let (s, [x, y]) = (1.0 / self.scale, self.center);
        Matrix3::new(s, 0.0, x, 0.0, s, y, 0.0, 0.0, 1.0)
    }

    /// Whether the spread across the cloud is negligible against the spread along it.
    fn is_line(&self) -> bool {
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for [x, y] in &self.points {
            xx += x * x;
            xy += x * y;
            yy += y * y;
        }
        let middle = f64::midpoint(xx, yy);
        let half_gap = (0.5 * (xx - yy)).hypot(xy);
        middle - half_gap < NARROWEST * NARROWEST * (middle + half_gap)
    }
}

fn normalized_sides<A, B>(
    pairs: &[(Point<A>, Point<B>)],
    needed: usize,
) -> Result<(Normalized, Normalized), FitError> {
    require(pairs, needed)?;
    let from = Normalized::new(pairs.iter().map(|(from, _)| [from.x, from.y]).collect())?;
    let to = Normalized::new(pairs.iter().map(|(_, to)| [to.x, to.y]).collect())?;
    Ok((from, to))
}

/// Undoes the normalisation and refuses a map whose horizon runs between the points.
fn denormalize<A, B>(
    normalized: &Matrix3<f64>,
    from: &Normalized,
    to: &Normalized,
) -> Result<Homography<A, B>, FitError> {
    let depth = |[x, y]: [f64; 2]| normalized[(2, 0)] * x + normalized[(2, 1)] * y + normalized[(2, 2)];
    let side = depth([0.0, 0.0]);
    if from.points.iter().any(|&point| depth(point) * side <= 0.0) {
        return Err(FitError::Folded);
    }
    Homography::from_matrix(to.matrix_back() * normalized * from.matrix()).map_err(|_| FitError::Degenerate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{BaselinePixels, UnitPixels};

    type Pairs = Vec<(Point<UnitPixels>, Point<BaselinePixels>)>;

    fn pairs(numbers: &[[f64; 4]]) -> Pairs {
        numbers.iter().map(|&[x, y, u, v]| (Point::new(x, y), Point::new(u, v))).collect()
    }

    #[test]
    fn points_in_line_allow_a_similarity_only() {
        let in_line = pairs(&[
            [0.0, 0.0, 5.0, 5.0],
            [10.0, 0.0, 15.0, 5.0],
            [20.0, 0.0, 25.0, 5.0],
            [30.0, 0.0, 35.0, 5.0],
        ]);
        assert_eq!(fit_homography(&in_line), Err(FitError::Degenerate));
        let through = fit_through(&in_line).unwrap();
        assert_eq!(through.model, MapModel::Similarity);
        assert!(through.rms_distance < 1e-9);
    }

    #[test]
    fn three_of_four_points_in_line_allow_an_affine_map_only() {
        let bad = pairs(&[
            [0.0, 0.0, 1.0, 1.0],
            [10.0, 0.0, 11.0, 1.0],
            [20.0, 0.0, 21.0, 1.0],
            [5.0, 9.0, 6.0, 10.0],
        ]);
        assert_eq!(fit_homography(&bad), Err(FitError::Degenerate));
        assert_eq!(fit_through(&bad).unwrap().model, MapModel::Affine);
    }

    #[test]
    fn the_number_of_pairs_decides_the_model() {
        let all = pairs(&[
            [0.0, 0.0, 2.0, 3.0],
            [9.0, 0.0, 11.0, 3.0],
            [9.0, 7.0, 11.0, 10.0],
            [0.0, 7.0, 2.0, 10.0],
        ]);
        let models = [MapModel::Shift, MapModel::Similarity, MapModel::Affine, MapModel::Projective];
        for (n, model) in models.into_iter().enumerate() {
            let fit = fit_through(&all[..=n]).unwrap();
            assert_eq!(fit.model, model);
            assert!(fit.homography.apply(Point::new(4.0, 4.0)).distance(Point::new(6.0, 7.0)) < 1e-9);
        }
        assert_eq!(fit_through(&all[..0]), Err(FitError::TooFewPairs { found: 0, needed: 1 }));
    }

    #[test]
    fn swapped_corners_are_refused() {
        let crossed =
            pairs(&[[0.0, 0.0, 0.0, 0.0], [9.0, 0.0, 9.0, 0.0], [9.0, 9.0, 0.0, 9.0], [0.0, 9.0, 9.0, 9.0]]);
        assert_eq!(fit_homography(&crossed), Err(FitError::Folded));
    }

    #[test]
    fn a_coordinate_that_is_not_finite_is_named() {
        let bad = pairs(&[[0.0, 0.0, 0.0, 0.0], [f64::NAN, 0.0, 9.0, 0.0]]);
        assert_eq!(fit_through(&bad), Err(FitError::NotFinite { index: 1 }));
    }
}
