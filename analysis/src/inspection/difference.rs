//! What is subtracted from what: the unit minus the mean of the known-good boards, and how much
//! those boards differ among themselves.

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
    /// What the unit's temperatures were multiplied with: 1 but at equal power.
    pub unit_gain: f64,
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

    let (rows, columns) = unit.temperature.shape();
    let pixels = rows * columns;
    // The sums are finished block by block into these.
    let [mut baseline, mut differences] = [vec![f32::NAN; pixels], vec![f32::NAN; pixels]];
    let several = baselines.len() > 1;
    let [mut variances, mut counts] = [0, 0].map(|_| vec![f32::NAN; if several { pixels } else { 0 }]);
    // Sums run relative to a place near the data: f32 keeps 1e-5 K there, not at 300 K.
    let origin = baselines[0].ambient.value() as f32;
    for (start, unit_block) in (0..).step_by(BLOCK).zip(unit.temperature.as_slice().chunks(BLOCK)) {
        let length = unit_block.len();
        // Squares run about the first board's value, so that the variance is no difference of large numbers.
        let mut sums = Sums::about(block(baselines[0].temperature, start, length), baseline_lines[0]);
        for (exposure, line) in baselines.iter().zip(&baseline_lines) {
            sums.add(block(exposure.temperature, start, length), *line, origin);
        }
        let block = start..start + length;
        sums.mean_kelvin(&mut baseline[block.clone()], origin);
        sums.subtract_from(unit_block, unit_line, &mut differences[block.clone()]);
        if several {
            sums.variance(&mut variances[block.clone()]);
            counts[block].copy_from_slice(&sums.count[..length]);
        }
    }

    let whole = |source| DifferenceError::Shape { which: Which::Unit, source };
    let spread = if several {
        let variance = Frame::<Difference>::from_rows(rows, columns, variances).map_err(whole)?;
        let mut pooled = mean_of_valid(&variance, POOLING_RADIUS);
        for (variance, n) in pooled.iter_mut().zip(counts) {
            *variance = (*variance * (1.0 + 1.0 / n)).sqrt();
        }
        Some(Frame::from_rows(rows, columns, pooled).map_err(whole)?)
    } else {
        None
    };
    Ok(DifferenceMap {
        unit_gain: f64::from(unit_line.gain),
        baseline: Frame::from_rows(rows, columns, baseline).map_err(whole)?,
        difference: Frame::from_rows(rows, columns, differences).map_err(whole)?,
        spread,
    })
}

/// Pixels are summed in blocks that stay in the processor's nearest memory.
const BLOCK: usize = 1024;

/// The pixels from `start` on; every picture was checked to be of one size.
fn block(frame: &Frame<SurfaceKelvin>, start: usize, length: usize) -> &[f32] {
    frame.as_slice().get(start..start + length).unwrap_or_default()
}

/// Sums over the boards for a block of pixels.
struct Sums {
    /// The first board's value, which the others are taken about.
    reference: [f32; BLOCK],
    count: [f32; BLOCK],
    value: [f32; BLOCK],
    square: [f32; BLOCK],
    kelvin: [f32; BLOCK],
}

impl Sums {
    fn about(first: &[f32], line: Line) -> Self {
        let none = [0.0; BLOCK];
        let mut sums = Self { reference: none, count: none, value: none, square: none, kelvin: none };
        for (reference, &kelvin) in sums.reference.iter_mut().zip(first) {
            *reference = if kelvin.is_nan() { 0.0 } else { line.apply(kelvin) };
        }
        sums
    }

    fn add(&mut self, block: &[f32], line: Line, origin: f32) {
        let boards = block.iter().zip(&self.reference);
        let sums = self.count.iter_mut().zip(&mut self.value).zip(&mut self.square).zip(&mut self.kelvin);
        for ((&kelvin, reference), (((count, value), square), kelvin_sum)) in boards.zip(sums) {
            let valid = !kelvin.is_nan();
            let about = if valid { line.apply(kelvin) - reference } else { 0.0 };
            *count += if valid { 1.0 } else { 0.0 };
            *value += about;
            *square += about * about;
            *kelvin_sum += if valid { kelvin - origin } else { 0.0 };
        }
    }

    // In all of these 0 / 0 is NaN: a pixel without a valid baseline stays invalid.

    fn mean_kelvin(&self, out: &mut [f32], origin: f32) {
        for ((out, sum), n) in out.iter_mut().zip(&self.kelvin).zip(&self.count) {
            *out = sum / n + origin;
        }
    }

    fn subtract_from(&self, unit: &[f32], line: Line, out: &mut [f32]) {
        let means = self.value.iter().zip(&self.count).zip(&self.reference);
        for ((out, &kelvin), ((sum, n), reference)) in out.iter_mut().zip(unit).zip(means) {
            *out = line.apply(kelvin) - reference - sum / n;
        }
    }

    /// s², invalid where fewer than two boards are valid.
    fn variance(&self, out: &mut [f32]) {
        let sums = self.square.iter().zip(&self.value).zip(&self.count);
        for (out, ((square, sum), &n)) in out.iter_mut().zip(sums) {
            let variance = ((square - sum * sum / n) / (n - 1.0)).max(0.0);
            *out = if n < 2.0 { f32::NAN } else { variance };
        }
    }
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
    use ndarray::Array2;

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
