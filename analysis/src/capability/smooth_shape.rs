//! The smooth shape of a uniform scene's picture: vignetting, warm optics, an uneven source.

use crate::quantile::median;
use nalgebra::{SMatrix, SVector};

/// Powers of x and y up to the second order: 1, x, y, x², xy, y².
const TERMS: usize = 6;
/// Residuals beyond so many robust standard deviations do not take part in the second fit.
const CUT: f64 = 4.0;
/// 1 / Φ⁻¹(3/4): from the median absolute deviation to the standard deviation of normal noise.
pub(super) const MAD_TO_SIGMA: f64 = 1.482_602_218_505_602;

/// A second-order polynomial over a picture.
#[derive(Debug, Clone, Copy)]
pub(super) struct SmoothShape {
    coefficients: SVector<f64, TERMS>,
    rows: usize,
    columns: usize,
}

fn terms(rows: usize, columns: usize, pixel: usize) -> SVector<f64, TERMS> {
    // From −1 to 1 across the picture, so that the terms are of one size.
    let along =
        |at: usize, count: usize| if count > 1 { 2.0 * at as f64 / (count - 1) as f64 - 1.0 } else { 0.0 };
    let (x, y) = (along(pixel % columns, columns), along(pixel / columns, rows));
    SVector::from([1.0, x, y, x * x, x * y, y * y])
}

impl SmoothShape {
    /// Least squares over the valid pixels, three times, each time without those that lie far off the last fit.
    /// `None` where too few pixels are valid to tell the six terms apart.
    pub(super) fn fit(rows: usize, columns: usize, values: &[f64]) -> Option<Self> {
        let mut cut = f64::INFINITY;
        let mut shape = Self { coefficients: SVector::zeros(), rows, columns };
        for _ in 0..3 {
            let mut normal = SMatrix::<f64, TERMS, TERMS>::zeros();
            let mut right = SVector::<f64, TERMS>::zeros();
            // About a level near the values, lest the normal equations lose digits at 300 K.
            let level = values.iter().copied().find(|value| !value.is_nan())?;
            for (pixel, &value) in values.iter().enumerate() {
                if value.is_nan() || (value - shape.at(pixel)).abs() > cut {
                    continue;
                }
                let terms = terms(rows, columns, pixel);
                normal += terms * terms.transpose();
                right += terms * (value - level);
            }
            shape.coefficients = normal.cholesky()?.solve(&right);
            shape.coefficients[0] += level;
            cut = CUT * robust_sigma(shape.residuals(values))?;
        }
        Some(shape)
    }

    pub(super) fn at(&self, pixel: usize) -> f64 {
        self.coefficients.dot(&terms(self.rows, self.columns, pixel))
    }

    /// What each value lies above the shape; NaN where it is none.
    pub(super) fn residuals(&self, values: &[f64]) -> Vec<f64> {
        values.iter().enumerate().map(|(pixel, value)| value - self.at(pixel)).collect()
    }

    /// Highest less lowest value over the picture.
    pub(super) fn range(&self) -> f64 {
        let all = (0..self.rows * self.columns).map(|pixel| self.at(pixel));
        let (low, high) =
            all.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        high - low
    }
}

/// The standard deviation of normal values by their median absolute deviation.
pub(super) fn robust_sigma(values: Vec<f64>) -> Option<f64> {
    let middle = median(values.iter().copied())?;
    median(values.into_iter().map(|value| (value - middle).abs())).map(|deviation| MAD_TO_SIGMA * deviation)
}
