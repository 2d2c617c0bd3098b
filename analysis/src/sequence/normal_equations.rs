//! The inverse of the matrix of a least-squares problem, or that its unknowns cannot be told apart.

use nalgebra::{DMatrix, DVector};

/// The inverse of a matrix of normal equations; `None` where its unknowns cannot be told apart.
pub(super) fn invert(normal: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    /// Least eigenvalue of the matrix scaled to a diagonal of ones.
    const SEPARABLE: f64 = 1e-8;
    let scale = DVector::from_iterator(normal.nrows(), normal.diagonal().iter().map(|d| d.sqrt().recip()));
    let scaled =
        DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| normal[(i, j)] * scale[i] * scale[j]);
    if scaled.iter().any(|value| !value.is_finite()) {
        return None;
    }
    if scaled.clone().symmetric_eigenvalues().min() < SEPARABLE {
        return None;
    }
    let inverse = scaled.cholesky()?.inverse();
    Some(DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| inverse[(i, j)] * scale[i] * scale[j]))
}
