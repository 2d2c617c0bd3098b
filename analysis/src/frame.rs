//! A picture of one quantity, with its invalid pixels.
//!
//! An invalid pixel is stored as NaN and nothing else: one array, one truth, and arithmetic that
//! forgets the mask yields an invalid pixel instead of a wrong one. Infinities are turned into NaN
//! on the way in. Shape is `(rows, columns)`, at least one pixel.

use std::marker::PhantomData;

use ndarray::{Array2, ArrayView2};

/// Numbers as the file holds them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RawNumber {}
/// Apparent temperature, K: that of the black body that would send the radiance that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ApparentKelvin {}
/// Temperature of the surface itself, K, after correction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SurfaceKelvin {}
/// Difference of two temperatures, K, or of two rises per watt, K/W.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Difference {}
/// Emissivity, above 0 and at most 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EmissivityFraction {}
/// Standard uncertainty of an emissivity, zero or more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum EmissivityUncertainty {}

/// What is wrong with an array that was to become a [`Frame`].
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FrameError {
    /// The array holds no pixel.
    #[error("the picture has no pixels ({rows} rows, {columns} columns)")]
    Empty {
        /// Rows given.
        rows: usize,
        /// Columns given.
        columns: usize,
    },
    /// The count of numbers is not rows × columns.
    #[error("{found} numbers do not fill {rows} rows of {columns} columns")]
    WrongLength {
        /// Rows asked for.
        rows: usize,
        /// Columns asked for.
        columns: usize,
        /// Numbers given.
        found: usize,
    },
    /// Two pictures that must have the same size differ.
    #[error("pictures of different size: {expected:?} and {found:?} (rows, columns)")]
    ShapeMismatch {
        /// Shape of the first.
        expected: (usize, usize),
        /// Shape of the second.
        found: (usize, usize),
    },
}

/// A picture of the quantity `Q`: `f32` values, NaN where there is no valid reading.
pub struct Frame<Q> {
    values: Array2<f32>,
    quantity: PhantomData<Q>,
}

impl<Q> Frame<Q> {
    /// Wraps an array; infinities become invalid pixels. The array is kept in row-major order.
    ///
    /// # Errors
    /// [`FrameError::Empty`] for an array without pixels.
    pub fn new(values: Array2<f32>) -> Result<Self, FrameError> {
        let (rows, columns) = values.dim();
        if rows == 0 || columns == 0 {
            return Err(FrameError::Empty { rows, columns });
        }
        let mut values =
            if values.is_standard_layout() { values } else { values.as_standard_layout().into_owned() };
        values.mapv_inplace(|v| if v.is_finite() { v } else { f32::NAN });
        Ok(Self { values, quantity: PhantomData })
    }

    /// Wraps row-major numbers.
    ///
    /// # Errors
    /// [`FrameError::WrongLength`] or [`FrameError::Empty`].
    pub fn from_rows(rows: usize, columns: usize, numbers: Vec<f32>) -> Result<Self, FrameError> {
        let found = numbers.len();
        let values = Array2::from_shape_vec((rows, columns), numbers)
            .map_err(|_| FrameError::WrongLength { rows, columns, found })?;
        Self::new(values)
    }

    /// `(rows, columns)`.
    #[must_use]
    pub fn shape(&self) -> (usize, usize) {
        self.values.dim()
    }

    /// The values, NaN where invalid.
    #[must_use]
    pub fn view(&self) -> ArrayView2<'_, f32> {
        self.values.view()
    }

    /// The values row by row, NaN where invalid.
    #[must_use]
    pub fn as_slice(&self) -> &[f32] {
        // Row-major by construction.
        self.values.as_slice().unwrap_or_default()
    }

    /// The value of one pixel; `None` outside the picture or where invalid.
    #[must_use]
    pub fn at(&self, row: usize, column: usize) -> Option<f32> {
        self.values.get((row, column)).copied().filter(|v| !v.is_nan())
    }

    /// How many pixels are valid.
    #[must_use]
    pub fn count_valid(&self) -> usize {
        self.values.iter().filter(|v| !v.is_nan()).count()
    }

    /// The lowest and highest valid value; `None` when no pixel is valid.
    #[must_use]
    pub fn range(&self) -> Option<(f32, f32)> {
        self.values.iter().filter(|v| !v.is_nan()).fold(None, |range, &v| match range {
            None => Some((v, v)),
            Some((lo, hi)) => Some((v.min(lo), v.max(hi))),
        })
    }

    /// The same pixels as another quantity, each value through `f`; a result that is not finite is invalid.
    #[must_use]
    pub fn map<R>(&self, f: impl Fn(f32) -> f32) -> Frame<R> {
        let values = self.values.mapv(|v| {
            let mapped = f(v);
            if mapped.is_finite() { mapped } else { f32::NAN }
        });
        Frame { values, quantity: PhantomData }
    }

    /// Checks that `other` has this shape.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`] with both shapes.
    pub fn require_same_shape<R>(&self, other: &Frame<R>) -> Result<(), FrameError> {
        if self.shape() == other.shape() {
            Ok(())
        } else {
            Err(FrameError::ShapeMismatch { expected: self.shape(), found: other.shape() })
        }
    }

    /// The array itself.
    #[must_use]
    pub fn into_array(self) -> Array2<f32> {
        self.values
    }
}

impl<Q> Clone for Frame<Q> {
    fn clone(&self) -> Self {
        Self { values: self.values.clone(), quantity: PhantomData }
    }
}

/// Equal where both are invalid or both hold the same number.
impl<Q> PartialEq for Frame<Q> {
    fn eq(&self, other: &Self) -> bool {
        self.shape() == other.shape()
            && self.values.iter().zip(&other.values).all(|(a, b)| a == b || (a.is_nan() && b.is_nan()))
    }
}

impl<Q> std::fmt::Debug for Frame<Q> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (rows, columns) = self.shape();
        write!(f, "Frame({rows} rows, {columns} columns, {} valid)", self.count_valid())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn infinities_become_invalid_and_are_left_out_of_the_range() {
        let frame =
            Frame::<ApparentKelvin>::from_rows(1, 4, vec![300.0, f32::INFINITY, f32::NAN, 310.0]).unwrap();
        assert_eq!(frame.count_valid(), 2);
        assert_eq!(frame.range(), Some((300.0, 310.0)));
        assert_eq!(frame.at(0, 1), None);
        assert_eq!(frame.at(9, 9), None);
    }

    #[test]
    fn a_picture_without_pixels_is_refused() {
        assert!(matches!(Frame::<RawNumber>::from_rows(0, 4, vec![]), Err(FrameError::Empty { .. })));
        assert!(matches!(
            Frame::<RawNumber>::from_rows(2, 2, vec![1.0]),
            Err(FrameError::WrongLength { .. })
        ));
    }
}
