//! Lock-in: the part of every pixel that swings with a reference, in one pass over the frames.
//!
//! The model of a pixel is a polynomial drift plus the reference's fundamental and harmonics,
//!
//! T(t) = d₀ + d₁ t + d₂ t² + Σₙ [ Pₙ sin(n φ) − Qₙ cos(n φ) ],  φ = 2π f (t − zero),
//!
//! all coefficients together by least squares: a drift that is not a whole number of periods long leaks
//! nothing into the amplitude, and frames may lie at any times. A response that lags the reference by
//! ψ is A sin(φ − ψ), hence P = A cos ψ, Q = A sin ψ. For whole periods, evenly sampled, and no drift
//! these are the correlations 2/N Σ T sin φ and −2/N Σ T cos φ.
//!
//! # Source
//! The correlation and its noise: O. Breitenstein, W. Warta, M. Langenkamp, *Lock-in Thermography*,
//! Springer, 2nd ed. 2010, chapter 2; formulas named from memory. The sign of the lag is our own choice.

use super::pixel_regression::{PixelRegression, Unsolvable};
use crate::frame::{Difference, Frame, FrameError};
use crate::quantile::quantile;

/// A lag behind the reference, radians, from −π to π.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LagRadians {}

/// A swing given from outside: sin(2π f (t − zero)).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    /// f, Hz.
    pub frequency_hz: f64,
    /// When the sine passes zero rising: for power switched on and off, the time of switching on, s.
    pub zero_s: f64,
}

/// What else than the swing changes a pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Drift {
    /// Nothing: only a constant.
    Constant,
    /// A straight line.
    #[default]
    Linear,
    /// A parabola.
    Quadratic,
}

/// What the lock-in looks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LockInSettings {
    /// The swing.
    pub reference: Reference,
    /// How many multiples of its frequency, from 1 (the fundamental alone) to 5.
    pub harmonics: usize,
    /// The drift that is fitted along.
    pub drift: Drift,
}

/// Why there is no lock-in result.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum LockInError {
    /// The settings cannot be met.
    #[error(
        "a lock-in needs a frequency above 0 Hz and from 1 to {MOST_HARMONICS} harmonics, not {frequency_hz} Hz and {harmonics}"
    )]
    Settings {
        /// The frequency given.
        frequency_hz: f64,
        /// The harmonics given.
        harmonics: usize,
    },
    /// Fewer frames than unknowns.
    #[error(
        "{frames} frames are too few for a lock-in with {unknowns} unknowns: record more, or ask for fewer harmonics"
    )]
    TooFewFrames {
        /// How many there were.
        frames: usize,
        /// How many coefficients each pixel has.
        unknowns: usize,
    },
    /// The frames do not tell the swing from the drift or from its own harmonics.
    #[error(
        "these frames do not tell the swing at {frequency_hz} Hz from drift or from its own multiples: record at least one whole period, at more than two frames for each period of the highest harmonic"
    )]
    NotSeparable {
        /// The frequency given.
        frequency_hz: f64,
    },
    /// A frame of another size.
    #[error(transparent)]
    Frame(#[from] FrameError),
}

/// More harmonics than this are not asked for.
pub const MOST_HARMONICS: usize = 5;

/// A lock-in in progress. Its memory does not grow with the number of frames.
#[derive(Debug)]
pub struct LockIn<Q> {
    settings: LockInSettings,
    /// The time of the first frame, s, from which drift counts.
    start: Option<f64>,
    regression: PixelRegression<Q>,
}

/// What one multiple of the reference's frequency has in every pixel. Swings are peak values, K.
#[derive(Debug, Clone, PartialEq)]
pub struct HarmonicMaps {
    /// A.
    pub amplitude: Frame<Difference>,
    /// A cos ψ: what swings with the reference.
    pub in_phase: Frame<Difference>,
    /// A sin ψ: what swings a quarter period later.
    pub quadrature: Frame<Difference>,
    /// ψ, radians.
    pub lag: Frame<LagRadians>,
    /// Standard uncertainty of the in-phase part for one pixel, as a fraction of its noise: √(2/N) for
    /// whole periods and no drift.
    pub in_phase_factor: f64,
    /// The same of the quadrature part.
    pub quadrature_factor: f64,
}

impl HarmonicMaps {
    /// The amplitude (root mean square) that a pixel of this noise shows without any swing, K:
    /// 2 σ/√N for whole periods and no drift.
    #[must_use]
    pub fn noise_floor(&self, noise: f64) -> f64 {
        noise * self.in_phase_factor.hypot(self.quadrature_factor)
    }
}

/// The result of a lock-in. A pixel that was invalid in any frame is invalid.
#[derive(Debug, Clone, PartialEq)]
pub struct LockInMaps {
    /// How many frames were taken in.
    pub frames: usize,
    /// The fundamental first.
    pub harmonics: Vec<HarmonicMaps>,
    /// What of each pixel the model leaves over: standard deviation for a frame, K.
    pub noise: Frame<Difference>,
    /// The median of `noise` over the valid pixels, K; NaN where none is valid.
    pub typical_noise: f64,
}

impl<Q> LockIn<Q> {
    /// A lock-in of no frames yet.
    ///
    /// # Errors
    /// [`LockInError::Settings`].
    pub fn new(settings: LockInSettings) -> Result<Self, LockInError> {
        let (frequency_hz, harmonics) = (settings.reference.frequency_hz, settings.harmonics);
        let sound = frequency_hz > 0.0 && frequency_hz.is_finite() && settings.reference.zero_s.is_finite();
        if !sound || !(1..=MOST_HARMONICS).contains(&harmonics) {
            return Err(LockInError::Settings { frequency_hz, harmonics });
        }
        let unknowns = drift_terms(settings.drift) + 2 * harmonics;
        Ok(Self { settings, start: None, regression: PixelRegression::new(unknowns) })
    }

    /// Takes the frame of the time `time_s` in. A frame that is missing is simply not added.
    ///
    /// # Errors
    /// [`LockInError::Frame`] for a frame of another size than the first.
    pub fn add(&mut self, time_s: f64, frame: Frame<Q>) -> Result<(), LockInError> {
        let start = *self.start.get_or_insert(time_s);
        let basis = self.basis(time_s, start);
        Ok(self.regression.add(basis, frame)?)
    }

    /// The basis functions at a time: 1, t, t², then sine and negative cosine of each harmonic.
    fn basis(&self, time_s: f64, start: f64) -> Vec<f64> {
        let Reference { frequency_hz, zero_s } = self.settings.reference;
        // In periods, which keeps the powers of long recordings small.
        let drift_time = (time_s - start) * frequency_hz;
        let powers = [1.0, drift_time, drift_time * drift_time];
        let turns = ((time_s - zero_s) * frequency_hz).fract();
        let swings = (1..=self.settings.harmonics).flat_map(|multiple| {
            let (sine, cosine) = (std::f64::consts::TAU * turns * multiple as f64).sin_cos();
            [sine, -cosine]
        });
        let drift = powers.into_iter().take(drift_terms(self.settings.drift));
        drift.chain(swings).collect()
    }

    /// The maps of all frames that were added.
    ///
    /// # Errors
    /// [`LockInError::TooFewFrames`] and [`LockInError::NotSeparable`].
    pub fn finish(self) -> Result<LockInMaps, LockInError> {
        let Reference { frequency_hz, .. } = self.settings.reference;
        let mut solved = self.regression.solve().map_err(|unsolvable| match unsolvable {
            Unsolvable::TooFew { frames, unknowns } => LockInError::TooFewFrames { frames, unknowns },
            Unsolvable::NotSeparable => LockInError::NotSeparable { frequency_hz },
        })?;
        let (rows, columns) = solved.shape;
        let drift = drift_terms(self.settings.drift);
        let mut swings = solved.coefficients.split_off(drift.min(solved.coefficients.len())).into_iter();
        let mut harmonics = Vec::with_capacity(self.settings.harmonics);
        while let (Some(in_phase), Some(quadrature)) = (swings.next(), swings.next()) {
            let maps =
                |f: fn(f32, f32) -> f32| in_phase.iter().zip(&quadrature).map(|(p, q)| f(*p, *q)).collect();
            let term = drift + 2 * harmonics.len();
            harmonics.push(HarmonicMaps {
                amplitude: Frame::from_rows(rows, columns, maps(|p, q| (p * p + q * q).sqrt()))?,
                lag: Frame::from_rows(rows, columns, maps(|p, q| q.atan2(p)))?,
                in_phase: Frame::from_rows(rows, columns, in_phase)?,
                quadrature: Frame::from_rows(rows, columns, quadrature)?,
                in_phase_factor: solved.factor(term),
                quadrature_factor: solved.factor(term + 1),
            });
        }
        let mut valid: Vec<f32> = solved.noise.iter().copied().filter(|noise| !noise.is_nan()).collect();
        let typical_noise = quantile(&mut valid, 0.5).map_or(f64::NAN, f64::from);
        let noise = Frame::from_rows(rows, columns, solved.noise)?;
        Ok(LockInMaps { frames: solved.frames, harmonics, noise, typical_noise })
    }
}

const fn drift_terms(drift: Drift) -> usize {
    match drift {
        Drift::Constant => 1,
        Drift::Linear => 2,
        Drift::Quadratic => 3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    const REFERENCE: Reference = Reference { frequency_hz: 0.1, zero_s: 0.7 };

    fn run(
        settings: LockInSettings,
        times: impl Iterator<Item = f64>,
        value: impl Fn(usize, f64) -> f64,
    ) -> Result<LockInMaps, LockInError> {
        let mut lock_in = LockIn::<SurfaceKelvin>::new(settings).unwrap();
        for time in times {
            let pixels = (0..21).map(|pixel| value(pixel, time) as f32).collect();
            lock_in.add(time, Frame::from_rows(3, 7, pixels).unwrap()).unwrap();
        }
        lock_in.finish()
    }

    #[test]
    fn amplitude_and_lag_come_through_a_warm_up_and_a_broken_last_period() {
        let settings = LockInSettings { reference: REFERENCE, harmonics: 2, drift: Drift::Quadratic };
        let phase = |time: f64| std::f64::consts::TAU * 0.1 * (time - 0.7);
        let maps = run(settings, (0..137).map(|n| 12.0 + 0.5 * f64::from(n)), |pixel, time| {
            let own = pixel as f64 / 10.0;
            let drift = 300.0 + own + 0.2 * time - 0.001 * time * time;
            drift + 0.020 * (phase(time) - own).sin() + 0.005 * (2.0 * phase(time) + 0.4).sin()
        })
        .unwrap();
        for pixel in 0..21 {
            let at = (pixel / 7, pixel % 7);
            let amplitude = maps.harmonics[0].amplitude.at(at.0, at.1).unwrap();
            let lag = maps.harmonics[0].lag.at(at.0, at.1).unwrap();
            assert!((amplitude - 0.020).abs() < 1e-5, "{amplitude}");
            assert!((lag - pixel as f32 / 10.0).abs() < 1e-3, "{lag}");
            assert!((maps.harmonics[1].amplitude.at(at.0, at.1).unwrap() - 0.005).abs() < 1e-5);
            assert!((maps.harmonics[1].lag.at(at.0, at.1).unwrap() + 0.4).abs() < 2e-3);
        }
        assert!(maps.typical_noise < 1e-4, "{}", maps.typical_noise);
    }

    #[test]
    fn over_whole_periods_the_noise_floor_is_twice_the_noise_over_the_root_of_the_frames() {
        let settings = LockInSettings { reference: REFERENCE, harmonics: 1, drift: Drift::Constant };
        let maps = run(settings, (0..400).map(f64::from), |_, _| 300.0).unwrap();
        // Published: 2 σ / √N. The sines are rounded to f32, 6e-8 of their value.
        let floor = maps.harmonics[0].noise_floor(0.05);
        assert!((floor / (2.0 * 0.05 / 20.0) - 1.0).abs() < 1e-7, "{floor}");
    }

    #[test]
    fn a_pixel_invalid_in_one_frame_is_invalid_and_its_neighbours_are_not() {
        let settings = LockInSettings { reference: REFERENCE, harmonics: 1, drift: Drift::Linear };
        let maps =
            run(
                settings,
                (0..40).map(f64::from),
                |pixel, time| {
                    if pixel == 20 && time == 17.0 { f64::NAN } else { 300.0 }
                },
            )
            .unwrap();
        assert_eq!(maps.noise.count_valid(), 20);
        assert_eq!(maps.harmonics[0].amplitude.at(2, 6), None);
    }

    #[test]
    fn what_cannot_be_told_apart_is_refused_with_what_to_do() {
        let settings = LockInSettings { reference: REFERENCE, harmonics: 1, drift: Drift::Linear };
        let short = run(settings, (0..4).map(f64::from), |_, _| 300.0).unwrap_err();
        assert!(matches!(short, LockInError::TooFewFrames { frames: 4, unknowns: 4 }));
        // Two frames a period: the sine is never seen.
        let sparse = run(settings, (0..40).map(|n| 5.0 * f64::from(n) + 0.7), |_, _| 300.0).unwrap_err();
        assert!(sparse.to_string().contains("more than two frames"), "{sparse}");
        let bad = LockInSettings { harmonics: 9, ..settings };
        assert!(LockIn::<SurfaceKelvin>::new(bad).is_err());
    }
}
