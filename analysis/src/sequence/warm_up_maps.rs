//! Where every pixel is heading: steady state and time constant of each, in one pass over the frames.
//!
//! The time constants of the whole board, from [`fit_warm_up`](super::fit_warm_up), make the fit of a pixel
//! linear: T(t) = T∞ − A [1 + δ t/τ] e^(−t/τ) − B e^(−t/τ₂), where δ ≈ ln(τ_pixel / τ) is the first term of
//! the slow decay's own departure. The next term is A δ²/2 of a curve much like the others: the steady
//! state of a pixel whose time constant is 20 % off is wrong by some percent of A at most.

use super::pixel_regression::{PixelRegression, Unsolvable};
use super::warm_up::WarmUp;
use crate::frame::{Difference, Frame, FrameError};

/// A time constant, s.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seconds {}

/// Why there are no maps of a warm-up.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WarmUpMapsError {
    /// Fewer frames than unknowns.
    #[error("{frames} frames are too few for the warm-up of every pixel: more than {unknowns} are needed")]
    TooFewFrames {
        /// How many there were.
        frames: usize,
        /// How many coefficients each pixel has.
        unknowns: usize,
    },
    /// The frames show too little of the warm-up.
    #[error("the frames show too little of the warm-up to fit every pixel: use a longer part of it")]
    TooShort,
    /// A frame of another size.
    #[error(transparent)]
    Frame(#[from] FrameError),
}

/// The fit of every pixel in progress. Its memory does not grow with the number of frames.
#[derive(Debug)]
pub struct PixelWarmUp<Q> {
    start_s: f64,
    time_constants_s: Vec<f64>,
    regression: PixelRegression<Q>,
}

/// The maps of a warm-up, in the quantity `Q` of the frames. A pixel that was invalid in any frame is invalid.
#[derive(Debug, Clone, PartialEq)]
pub struct WarmUpMaps<Q> {
    /// T∞.
    pub steady: Frame<Q>,
    /// Standard uncertainty of T∞ from the noise of the pixel.
    pub steady_uncertainty: Frame<Difference>,
    /// What the pixel has still to gain at the whole board's first sample: T∞ − T.
    pub rise: Frame<Difference>,
    /// The slow decay's time constant, s; invalid where the rise is too small to tell it within 20 %, or
    /// it is beyond a factor of 1.6 from the whole board's.
    pub time_constant: Frame<Seconds>,
    /// Standard deviation of what the model leaves over.
    pub noise: Frame<Difference>,
}

impl<Q> PixelWarmUp<Q> {
    /// Starts from the warm-up of the whole board, or of any place typical of it.
    #[must_use]
    pub fn new(whole: &WarmUp) -> Self {
        let time_constants_s: Vec<f64> = whole.decays.iter().map(|decay| decay.time_constant_s).collect();
        let unknowns = 2 + time_constants_s.len();
        Self { start_s: whole.start_s, time_constants_s, regression: PixelRegression::new(unknowns) }
    }

    /// Takes the frame of the time `time_s` in.
    ///
    /// # Errors
    /// [`WarmUpMapsError::Frame`] for a frame of another size than the first.
    pub fn add(&mut self, time_s: f64, frame: Frame<Q>) -> Result<(), WarmUpMapsError> {
        let since = time_s - self.start_s;
        let mut basis = vec![1.0];
        for (index, time_constant) in self.time_constants_s.iter().enumerate() {
            let shape = (-since / time_constant).exp();
            basis.push(-shape);
            if index == 0 {
                basis.push(-shape * since / time_constant);
            }
        }
        Ok(self.regression.add(basis, frame)?)
    }

    /// The maps of all frames that were added.
    ///
    /// # Errors
    /// [`WarmUpMapsError`].
    pub fn finish(self) -> Result<WarmUpMaps<Q>, WarmUpMapsError> {
        /// ln of the greatest factor between a pixel's time constant and the whole board's.
        const FARTHEST: f32 = 0.47;
        /// The greatest uncertainty of a time constant that is still shown, as a fraction of it.
        const VAGUE: f64 = 0.2;
        let solved = self.regression.solve().map_err(|unsolvable| match unsolvable {
            Unsolvable::TooFew { frames, unknowns } => WarmUpMapsError::TooFewFrames { frames, unknowns },
            Unsolvable::NotSeparable => WarmUpMapsError::TooShort,
        })?;
        let (rows, columns) = solved.shape;
        let (steady_factor, departure_factor) = (solved.factor(0), solved.factor(2));
        let term = |index: usize| solved.coefficients.get(index).map(Vec::as_slice).unwrap_or_default();
        let slow = self.time_constants_s.first().copied().unwrap_or(f64::NAN) as f32;
        let own = term(1).iter().zip(term(2)).zip(&solved.noise).map(|((rise, product), noise)| {
            let departure = product / rise;
            let uncertainty = f64::from(*noise) * departure_factor / f64::from(rise.abs());
            if uncertainty < VAGUE && departure.abs() < FARTHEST { slow * departure.exp() } else { f32::NAN }
        });
        let own = Frame::from_rows(rows, columns, own.collect())?;
        // At the first sample both decays are whole and the departure's term is zero.
        let rise = match self.time_constants_s.len() {
            2 => term(1).iter().zip(term(3)).map(|(slow, fast)| slow + fast).collect(),
            _ => term(1).to_vec(),
        };
        let uncertainty =
            solved.noise.iter().map(|noise| (f64::from(*noise) * steady_factor) as f32).collect();
        Ok(WarmUpMaps {
            steady: Frame::from_rows(rows, columns, term(0).to_vec())?,
            steady_uncertainty: Frame::from_rows(rows, columns, uncertainty)?,
            rise: Frame::from_rows(rows, columns, rise)?,
            time_constant: own,
            noise: Frame::from_rows(rows, columns, solved.noise)?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;
    use crate::sequence::warm_up::Decay;

    fn whole() -> WarmUp {
        let decay = |time_constant_s| Decay {
            rise: 1.0,
            rise_uncertainty: 0.0,
            time_constant_s,
            time_constant_uncertainty_s: 0.0,
        };
        WarmUp {
            start_s: 4.0,
            steady: 300.0,
            steady_uncertainty: 0.0,
            steady_interval: [300.0; 2],
            decays: vec![decay(140.0), decay(15.0)],
            noise: 0.0,
            correlation: 0.0,
            samples: 0,
        }
    }

    #[test]
    fn each_pixel_heads_for_its_own_steady_state_with_its_own_time_constant() {
        let own_constants = [126.0, 133.0, 140.0, 147.0, 154.0, 140.0];
        let mut maps = PixelWarmUp::<SurfaceKelvin>::new(&whole());
        for second in 0..300_u32 {
            let time = f64::from(second);
            let pixels = own_constants.iter().enumerate().map(|(pixel, constant)| {
                let (steady, size) =
                    if pixel == 5 { (296.0, 0.0) } else { (310.0 + 5.0 * pixel as f64, 20.0) };
                let noise = if second % 2 == 0 { 0.05 } else { -0.05 };
                let missing = 0.75 * (-time / constant).exp() + 0.25 * (-time / 15.0).exp();
                (steady - size * missing + noise) as f32
            });
            maps.add(4.0 + time, Frame::from_rows(1, 6, pixels.collect()).unwrap()).unwrap();
        }
        let maps = maps.finish().unwrap();
        for (pixel, constant) in own_constants.iter().enumerate().take(5) {
            let steady = f64::from(maps.steady.at(0, pixel).unwrap());
            assert!((steady - 310.0 - 5.0 * pixel as f64).abs() < 0.1, "pixel {pixel}: {steady}");
            // δ²/2 of a departure of 10 % is half a percent.
            let found = f64::from(maps.time_constant.at(0, pixel).unwrap());
            assert!((found / constant - 1.0).abs() < 0.015, "pixel {pixel}: {found}");
            assert!((maps.rise.at(0, pixel).unwrap() - 20.0).abs() < 0.1);
        }
        // A pixel that does not warm up has no time constant.
        assert_eq!(maps.time_constant.at(0, 5), None);
        assert!((maps.steady.at(0, 5).unwrap() - 296.0).abs() < 0.05);
        assert!((maps.noise.at(0, 5).unwrap() - 0.05).abs() < 0.002);
    }

    #[test]
    fn a_few_frames_are_refused_with_what_to_do() {
        let mut maps = PixelWarmUp::<SurfaceKelvin>::new(&whole());
        maps.add(0.0, Frame::from_rows(1, 1, vec![300.0]).unwrap()).unwrap();
        assert!(matches!(maps.finish(), Err(WarmUpMapsError::TooFewFrames { frames: 1, unknowns: 4 })));
    }
}
