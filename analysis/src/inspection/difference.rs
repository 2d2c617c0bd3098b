//! What is subtracted from what: the unit minus the mean of the known-good boards, and how much
//! those boards differ among themselves.

use ndarray::{Array2, Zip};

use super::criteria::Basis;
use super::neighborhood::mean_of_valid;
use crate::frame::{Difference, Frame, FrameError, SurfaceKelvin};
use crate::units::{Kelvin, Watts};

/// One corrected capture in the baseline's frame, with the conditions it was taken under.
#[derive(Debug, Clone, Copy)]
pub struct Exposure<'a> {
    /// Temperature of the surface.
    pub temperature: &'a Frame<SurfaceKelvin>,
    /// Air temperature around the board.
    pub ambient: Kelvin,
    /// Electrical power, where voltage and current are known.
    pub power: Option<Watts>,
}

/// The unit against its baselines, pixel by pixel.
#[derive(Debug, Clone)]
pub struct DifferenceMap {
    /// Mean surface temperature of the known-good boards as they were captured, K: no basis applied.
    pub baseline: Frame<SurfaceKelvin>,
    /// Unit minus baseline on the chosen basis, K.
    pub difference: Frame<Difference>,
    /// Standard deviation with which one more known-good board would differ from the mean, K;
    /// `None` with a single baseline.
    pub spread: Option<Frame<Difference>>,
}

/// Which capture an error speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// A known-good board, by its place in the list given.
    Baseline(usize),
    /// The unit under test.
    Unit,
}

impl std::fmt::Display for Which {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Baseline(index) => write!(f, "baseline {}", index + 1),
            Self::Unit => write!(f, "the unit under test"),
        }
    }
}

/// Why no difference can be formed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DifferenceError {
    /// There is nothing to compare with.
    #[error("there is no known-good board to compare with: name at least one capture as baseline")]
    NoBaseline,
    /// A picture has another size than the unit's.
    #[error("{which} does not fit the unit under test: {source}")]
    Shape {
        /// Which picture.
        which: Which,
        /// The two sizes.
        source: FrameError,
    },
    /// Equal power was asked for, but the power of a capture is unknown or zero.
    #[error(
        "the electrical power of {which} is not known or is zero: state its voltage and current, \
         or compare on another basis"
    )]
    PowerUnknown {
        /// Which capture.
        which: Which,
    },
}

/// Variances are averaged over this many pixels to each side (9 × 9 pixels).
const POOLING_RADIUS: usize = 4;

/// Unit minus the mean of the baselines, with the spread among the baselines.
///
/// Every pixel value T becomes y first:
/// - [`Basis::Absolute`]: y = T.
/// - [`Basis::RiseAboveAmbient`]: y = T − `T_ambient`, each capture with its own.
/// - [`Basis::RiseAtEqualPower`]: y = (T − `T_ambient`) · P₀ / P with each capture's own P, where P₀
///   is the mean power of the baselines. It takes the rise as proportional to the power, which holds
///   for conduction and roughly for convection and radiation over small changes.
///
/// Mean and spread at a pixel are over the baselines that are valid there; a pixel where the unit or
/// every baseline is invalid is invalid.
///
/// **Spread.** With n valid boards, s² = Σ(y − ȳ)² / (n − 1) has only n − 1 degrees of freedom, useless
/// pixel by pixel for two to four boards. So s² is averaged over 9 × 9 pixels, and the result is the
/// standard deviation of a prediction, √(s² · (1 + 1/n)): the n boards' mean is itself uncertain.
/// The camera's noise in the baselines is part of it. What is common to a whole board (an offset) is
/// not made more certain by averaging over pixels: with few boards such an offset can be larger than
/// the spread tells.
///
/// # Errors
/// Every [`DifferenceError`].
pub fn difference(
    baselines: &[Exposure<'_>],
    unit: &Exposure<'_>,
    basis: Basis,
) -> Result<DifferenceMap, DifferenceError> {
    if baselines.is_empty() {
        return Err(DifferenceError::NoBaseline);
    }
    for (index, baseline) in baselines.iter().enumerate() {
        unit.temperature
            .require_same_shape(baseline.temperature)
            .map_err(|source| DifferenceError::Shape { which: Which::Baseline(index), source })?;
    }
    let (baseline_lines, unit_line) = lines(baselines, unit, basis)?;

    let shape = unit.temperature.shape();
    let mut count = Array2::<f32>::zeros(shape);
    let mut kelvin_sum = Array2::<f32>::zeros(shape);
    let mut sum = Array2::<f32>::zeros(shape);
    let mut square_sum = Array2::<f32>::zeros(shape);
    // Sums run relative to a place near the data: f32 keeps 1e-5 K there, not at 300 K.
    let origin = baselines[0].ambient.value() as f32;
    // Squares about the first board's value, so that the variance is no difference of large numbers.
    let first = baselines[0].temperature.view();
    let first_line = baseline_lines[0];
    for (exposure, line) in baselines.iter().zip(&baseline_lines) {
        Zip::from(&mut sum)
            .and(&mut square_sum)
            .and(&mut count)
            .and(&mut kelvin_sum)
            .and(first)
            .and(exposure.temperature.view())
            .for_each(|sum, square_sum, count, kelvin_sum, &first, &kelvin| {
                let valid = !kelvin.is_nan();
                let centered = line.apply(kelvin) - first_line.reference(first);
                let centered = if valid { centered } else { 0.0 };
                *sum += centered;
                *square_sum += centered * centered;
                *count += if valid { 1.0 } else { 0.0 };
                *kelvin_sum += if valid { kelvin - origin } else { 0.0 };
            });
    }

    let spread = if baselines.len() < 2 {
        None
    } else {
        let variance = Zip::from(&count).and(&sum).and(&square_sum).map_collect(|&n, &sum, &square_sum| {
            if n < 2.0 { f32::NAN } else { ((square_sum - sum * sum / n) / (n - 1.0)).max(0.0) }
        });
        let mut pooled = mean_of_valid(variance.view(), POOLING_RADIUS);
        Zip::from(&mut pooled).and(&count).for_each(|variance, &n| {
            *variance = (*variance * (1.0 + 1.0 / n)).sqrt();
        });
        Some(known_shape(pooled)?)
    };

    // 0 / 0 is NaN: a pixel without a valid baseline stays invalid.
    Zip::from(&mut sum).and(&count).and(first).and(unit.temperature.view()).for_each(
        |difference, &n, &first, &kelvin| {
            *difference = unit_line.apply(kelvin) - first_line.reference(first) - *difference / n;
        },
    );
    Zip::from(&mut kelvin_sum).and(&count).for_each(|kelvin, &n| *kelvin = *kelvin / n + origin);
    Ok(DifferenceMap { baseline: known_shape(kelvin_sum)?, difference: known_shape(sum)?, spread })
}

/// The size was the unit's own; the error cannot arise but is not hidden either.
fn known_shape<Q>(values: Array2<f32>) -> Result<Frame<Q>, DifferenceError> {
    Frame::new(values).map_err(|source| DifferenceError::Shape { which: Which::Unit, source })
}

/// y = (T − offset) · gain.
#[derive(Clone, Copy)]
struct Line {
    offset: f32,
    gain: f32,
}

impl Line {
    fn apply(self, kelvin: f32) -> f32 {
        (kelvin - self.offset) * self.gain
    }

    /// The same, and zero for an invalid pixel.
    fn reference(self, kelvin: f32) -> f32 {
        if kelvin.is_nan() { 0.0 } else { self.apply(kelvin) }
    }
}

fn lines(
    baselines: &[Exposure<'_>],
    unit: &Exposure<'_>,
    basis: Basis,
) -> Result<(Vec<Line>, Line), DifferenceError> {
    let ambient = |exposure: &Exposure<'_>| exposure.ambient.value() as f32;
    match basis {
        Basis::Absolute => {
            // One offset for all, which the subtraction removes again: it only keeps f32 precise.
            let line = Line { offset: ambient(unit), gain: 1.0 };
            Ok((vec![line; baselines.len()], line))
        }
        Basis::RiseAboveAmbient => {
            let line = |exposure| Line { offset: ambient(exposure), gain: 1.0 };
            Ok((baselines.iter().map(line).collect(), line(unit)))
        }
        Basis::RiseAtEqualPower => {
            let powers = baselines
                .iter()
                .enumerate()
                .map(|(index, baseline)| stated_power(baseline, Which::Baseline(index)))
                .collect::<Result<Vec<f64>, _>>()?;
            let unit_power = stated_power(unit, Which::Unit)?;
            let common = powers.iter().sum::<f64>() / powers.len() as f64;
            let line =
                |exposure, power: f64| Line { offset: ambient(exposure), gain: (common / power) as f32 };
            let baseline_lines =
                baselines.iter().zip(&powers).map(|(baseline, &power)| line(baseline, power)).collect();
            Ok((baseline_lines, line(unit, unit_power)))
        }
    }
}

fn stated_power(exposure: &Exposure<'_>, which: Which) -> Result<f64, DifferenceError> {
    exposure
        .power
        .map(Watts::value)
        .filter(|&power| power > 0.0)
        .ok_or(DifferenceError::PowerUnknown { which })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(kelvin: f32) -> Frame<SurfaceKelvin> {
        Frame::new(Array2::from_elem((3, 4), kelvin)).unwrap()
    }

    fn exposure(temperature: &Frame<SurfaceKelvin>, ambient: f64, power: Option<f64>) -> Exposure<'_> {
        Exposure {
            temperature,
            ambient: Kelvin::new(ambient).unwrap(),
            power: power.map(|power| Watts::new(power).unwrap()),
        }
    }

    fn single(map: &DifferenceMap) -> f32 {
        map.difference.at(1, 1).unwrap()
    }

    #[test]
    fn each_basis_subtracts_what_it_says() {
        // Baselines rise 20 K and 30 K at 1 W and 2 W; the unit rises 40 K at 3 W in warmer air.
        let (first, second, unit) = (flat(320.0), flat(330.0), flat(345.0));
        let baselines = [exposure(&first, 300.0, Some(1.0)), exposure(&second, 300.0, Some(2.0))];
        let unit = exposure(&unit, 305.0, Some(3.0));
        // 345 − 325.
        assert!((single(&difference(&baselines, &unit, Basis::Absolute).unwrap()) - 20.0).abs() < 1e-4);
        // 40 − (20 + 30) / 2.
        let rise = difference(&baselines, &unit, Basis::RiseAboveAmbient).unwrap();
        assert!((single(&rise) - 15.0).abs() < 1e-4);
        assert!((rise.baseline.at(0, 0).unwrap() - 325.0).abs() < 1e-3);
        // P₀ = 1.5 W: 40 · 1.5 / 3 − (20 · 1.5 / 1 + 30 · 1.5 / 2) / 2 = 20 − 26.25.
        let equal = difference(&baselines, &unit, Basis::RiseAtEqualPower).unwrap();
        assert!((single(&equal) + 6.25).abs() < 1e-4);
        // s² = (20 − 25)² + (30 − 25)² = 50; √(50 · 1.5).
        let spread = rise.spread.unwrap().at(2, 3).unwrap();
        assert!((spread - 75.0_f32.sqrt()).abs() < 1e-3);
    }

    #[test]
    fn an_invalid_pixel_is_never_averaged_in() {
        let mut first = flat(310.0).into_array();
        first[(1, 1)] = f32::NAN;
        let mut second = flat(320.0).into_array();
        second[(0, 0)] = f32::NAN;
        let mut third = second.clone();
        third[(1, 1)] = f32::NAN;
        third[(2, 2)] = 320.0;
        let mut unit = flat(330.0).into_array();
        unit[(2, 3)] = f32::NAN;
        let frames = [first, second, third].map(|values| Frame::<SurfaceKelvin>::new(values).unwrap());
        let unit = Frame::<SurfaceKelvin>::new(unit).unwrap();
        let baselines: Vec<_> = frames.iter().map(|frame| exposure(frame, 300.0, None)).collect();
        let map = difference(&baselines, &exposure(&unit, 300.0, None), Basis::RiseAboveAmbient).unwrap();
        // Only the second baseline is valid at (1, 1), only the first at (0, 0).
        assert_eq!(map.difference.at(1, 1), Some(10.0));
        assert_eq!(map.difference.at(0, 0), Some(20.0));
        assert_eq!(map.difference.at(2, 3), None);
        let alone = difference(&baselines[..1], &exposure(&unit, 300.0, None), Basis::Absolute).unwrap();
        assert_eq!(alone.difference.at(1, 1), None);
        assert!(alone.spread.is_none());
    }

    #[test]
    fn missing_power_and_missing_baselines_are_named() {
        let frame = flat(300.0);
        let with = exposure(&frame, 300.0, Some(1.0));
        let without = exposure(&frame, 300.0, None);
        let error = difference(&[with, without], &with, Basis::RiseAtEqualPower).unwrap_err();
        assert_eq!(error, DifferenceError::PowerUnknown { which: Which::Baseline(1) });
        assert!(error.to_string().contains("baseline 2"));
        let error = difference(&[with], &without, Basis::RiseAtEqualPower).unwrap_err();
        assert_eq!(error, DifferenceError::PowerUnknown { which: Which::Unit });
        assert_eq!(difference(&[], &with, Basis::Absolute).unwrap_err(), DifferenceError::NoBaseline);
    }
}
