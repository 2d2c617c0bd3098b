//! Unevenness of camera and optics, measured on a uniform scene and taken out of later pictures.

use serde::{Deserialize, Serialize};

use super::smooth_shape::SmoothShape;
use crate::frame::{ApparentKelvin, Difference, Frame, FrameError};
use crate::quantile::median;

/// Offsets are multiples of 2⁻¹⁴ K, some 0.06 mK: subtracting one from an `f32` between 256 K and 1024 K, or adding
/// it again, then rounds nothing.
const STEPS_PER_KELVIN: f64 = 16_384.0;

/// How the unevenness is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Flattening {
    /// Its smooth shape alone: vignetting, warm optics. Adds no noise.
    Smooth,
    /// Every pixel's own offset: fixed pattern as well. Adds the noise of the scene's picture; average frames first.
    EachPixel,
}

/// What each pixel reads too much.
#[derive(Debug, Clone, PartialEq)]
pub struct FlatField {
    offset: Frame<Difference>,
}

/// Why there is no flat field.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NoFlatField {
    /// Too few valid pixels to know a shape.
    #[error(
        "{found} valid pixels do not tell the shape of the scene: give a whole picture of a uniform scene"
    )]
    TooFewPixels {
        /// Pixels that are valid.
        found: usize,
    },
    /// The array cannot be made.
    #[error(transparent)]
    Shape(#[from] FrameError),
}

impl FlatField {
    /// From the picture of a uniform scene: what each pixel reads above the picture's median.
    ///
    /// A pixel that is invalid there gets the smooth shape's offset.
    ///
    /// # Errors
    /// [`NoFlatField`].
    pub fn measure(scene: &Frame<ApparentKelvin>, flattening: Flattening) -> Result<Self, NoFlatField> {
        let (rows, columns) = scene.shape();
        let values: Vec<f64> = scene.as_slice().iter().copied().map(f64::from).collect();
        let found = scene.count_valid();
        let (Some(shape), Some(level)) =
            (SmoothShape::fit(rows, columns, &values), median(values.iter().copied()))
        else {
            return Err(NoFlatField::TooFewPixels { found });
        };
        let offsets = values
            .iter()
            .enumerate()
            .map(|(pixel, &value)| {
                let read =
                    if flattening == Flattening::Smooth || value.is_nan() { shape.at(pixel) } else { value };
                (((read - level) * STEPS_PER_KELVIN).round() / STEPS_PER_KELVIN) as f32
            })
            .collect();
        Ok(Self { offset: Frame::from_rows(rows, columns, offsets)? })
    }

    /// What each pixel reads too much, K.
    #[must_use]
    pub const fn offset(&self) -> &Frame<Difference> {
        &self.offset
    }

    /// `picture` without the unevenness.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`].
    pub fn remove(&self, picture: &Frame<ApparentKelvin>) -> Result<Frame<ApparentKelvin>, FrameError> {
        self.combine(picture, |value, offset| value - offset)
    }

    /// `picture` with the unevenness again: exactly what [`remove`](Self::remove) was given, for readings between
    /// 256 K and 1024 K before and after.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`].
    pub fn restore(&self, picture: &Frame<ApparentKelvin>) -> Result<Frame<ApparentKelvin>, FrameError> {
        self.combine(picture, |value, offset| value + offset)
    }

    fn combine(
        &self,
        picture: &Frame<ApparentKelvin>,
        step: impl Fn(f32, f32) -> f32,
    ) -> Result<Frame<ApparentKelvin>, FrameError> {
        picture.require_same_shape(&self.offset)?;
        let (rows, columns) = picture.shape();
        let numbers = picture.as_slice().iter().zip(self.offset.as_slice());
        Frame::from_rows(rows, columns, numbers.map(|(&value, &offset)| step(value, offset)).collect())
    }
}
