//! How a board warms up: one or two exponentials fitted to a series, and the steady state they lead to.
//!
//! T(t) = T∞ − A₁ e^(−t/τ₁) − A₂ e^(−t/τ₂), t from the first sample: the longest two of the decays that a
//! heated body of constant properties has. Two where the data call for them by the corrected Akaike
//! criterion, else one. The fit starts from the best of a grid of time constants, at each of which the
//! other parameters are linear, and goes on by Levenberg–Marquardt.
//!
//! The interval of the steady state is found by profile likelihood, as the sum of squares is far from a
//! parabola while only part of the warm-up has been seen: its ends are the values of T∞ at which the best
//! fit of everything else is worse by the factor 1 + t²/(n − p). Without an end the interval is open.
//!
//! # Source
//! D. M. Bates, D. G. Watts, *Nonlinear Regression Analysis and Its Applications*, Wiley 1988, chapter 6
//! (profile t); G. H. Golub, V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413 (separable least squares);
//! C. M. Hurvich, C.-L. Tsai, Biometrika 76 (1989) 297 (corrected Akaike criterion): all from memory.

use nalgebra::{DMatrix, DVector};

use super::least_squares::{Fit, Model, fit};
use super::normal_equations::invert;
use super::trend::slope;
use crate::propagation::coverage_factor;

/// One decay of a warm-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decay {
    /// A: what is still missing of it at the first sample, in the series' unit; negative for cooling.
    pub rise: f64,
    /// Standard uncertainty of A.
    pub rise_uncertainty: f64,
    /// τ, s.
    pub time_constant_s: f64,
    /// Standard uncertainty of τ, s.
    pub time_constant_uncertainty_s: f64,
}

/// A fitted warm-up.
#[derive(Debug, Clone, PartialEq)]
pub struct WarmUp {
    /// The time of the first sample, s.
    pub start_s: f64,
    /// T∞, in the series' unit.
    pub steady: f64,
    /// Standard uncertainty of T∞ from the fit's covariance; too small while the interval is lopsided.
    pub steady_uncertainty: f64,
    /// Where T∞ is with a probability of 95 %; infinite where the data set no bound.
    pub steady_interval: [f64; 2],
    /// One decay, or two with the slow one first.
    pub decays: Vec<Decay>,
    /// Standard deviation of what the model leaves over.
    pub noise: f64,
    /// Correlation of what is left over from one sample to the next. Where it is beyond chance, all
    /// uncertainties have been widened for it.
    pub correlation: f64,
    /// How many samples were valid.
    pub samples: usize,
}

/// Why a warm-up cannot be fitted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum WarmUpError {
    /// Too few valid samples.
    #[error("{samples} valid samples are too few for a warm-up: at least {LEAST_SAMPLES} are needed")]
    TooFewSamples {
        /// How many there are.
        samples: usize,
    },
    /// Times that do not rise.
    #[error("the times of the samples do not rise")]
    Times,
    /// No exponential describes the series.
    #[error("the series does not bend towards a steady state: fit a longer part of the warm-up")]
    NoBend,
}

const LEAST_SAMPLES: usize = 12;

impl WarmUp {
    /// The fitted value at a time, s.
    #[must_use]
    pub fn at(&self, time_s: f64) -> f64 {
        let since = time_s - self.start_s;
        let missing = |decay: &Decay| decay.rise * (-since / decay.time_constant_s).exp();
        self.steady - self.decays.iter().map(missing).sum::<f64>()
    }

    /// Seconds from `now_s` until the fit is within `margin` of the steady state for good; 0 if it is
    /// already. Where one decay rises and the other falls this is an upper bound.
    #[must_use]
    pub fn time_left(&self, now_s: f64, margin: f64) -> f64 {
        let missing = |since: f64| -> f64 {
            self.decays.iter().map(|d| d.rise.abs() * (-since / d.time_constant_s).exp()).sum()
        };
        let now = (now_s - self.start_s).max(0.0);
        let margin = margin.max(f64::MIN_POSITIVE);
        if missing(now) <= margin {
            return 0.0;
        }
        let slowest = self.decays.iter().map(|decay| decay.time_constant_s).fold(0.0, f64::max);
        // After ln(all / margin) of the slowest time constant nothing more than the margin is missing.
        let (mut before, mut after) = (now, now + slowest * (missing(now) / margin).ln().max(0.0));
        while after - before > 1e-6 * slowest {
            let middle = f64::midpoint(before, after);
            if middle <= before || middle >= after {
                break;
            }
            if missing(middle) > margin { before = middle } else { after = middle }
        }
        after - now
    }
}

/// Fits a warm-up to a series; values that are not finite are left out.
///
/// # Errors
/// [`WarmUpError`].
pub fn fit_warm_up(times_s: &[f64], values: &[f64]) -> Result<WarmUp, WarmUpError> {
    let series = Series::new(times_s, values)?;
    let first = best_fit(&series, 1);
    let second = best_fit(&series, 2);
    let [first_score, second_score] =
        [&first, &second].map(|fit| fit.as_ref().map_or(f64::INFINITY, |fit| series.score(fit)));
    let chosen = if second_score < first_score { second } else { first };
    let chosen = chosen.ok_or(WarmUpError::NoBend)?;
    series.describe(&chosen).ok_or(WarmUpError::NoBend)
}

/// Fits the warm-ups of two series, each its times and values, with one decay for both or two for both, so
/// that their time constants mean the same: two where either calls for them and both can bear them.
///
/// # Errors
/// [`WarmUpError`], of the series that cannot be fitted.
pub fn fit_alike(series: [(&[f64], &[f64]); 2]) -> Result<[WarmUp; 2], WarmUpError> {
    let [(times, values), (other_times, other_values)] = series;
    let free = [fit_warm_up(times, values)?, fit_warm_up(other_times, other_values)?];
    if free[0].decays.len() == free[1].decays.len() {
        return Ok(free);
    }
    let with = |decays: usize| -> Result<[WarmUp; 2], WarmUpError> {
        let fit = |(times, values)| {
            let series = Series::new(times, values)?;
            best_fit(&series, decays).and_then(|fit| series.describe(&fit)).ok_or(WarmUpError::NoBend)
        };
        Ok([fit(series[0])?, fit(series[1])?])
    };
    let told = |fits: &[WarmUp; 2]| {
        let decays = fits.iter().flat_map(|fit| &fit.decays);
        decays.into_iter().all(|decay| decay.time_constant_uncertainty_s < decay.time_constant_s)
    };
    with(2).ok().filter(told).map_or_else(|| with(1), Ok)
}

/// Parameters: T∞, then (A, ln τ) of each decay.
struct Series {
    start: f64,
    span: f64,
    times: Vec<f64>,
    values: Vec<f64>,
}

impl Series {
    fn new(times_s: &[f64], values: &[f64]) -> Result<Self, WarmUpError> {
        let valid: Vec<(f64, f64)> = times_s
            .iter()
            .copied()
            .zip(values.iter().copied())
            .filter(|(time, value)| time.is_finite() && value.is_finite())
            .collect();
        if valid.len() < LEAST_SAMPLES {
            return Err(WarmUpError::TooFewSamples { samples: valid.len() });
        }
        if !valid.windows(2).all(|pair| pair[0].0 < pair[1].0) {
            return Err(WarmUpError::Times);
        }
        let start = valid[0].0;
        let span = valid[valid.len() - 1].0 - start;
        let (times, values) = valid.into_iter().map(|(time, value)| (time - start, value)).unzip();
        Ok(Self { start, span, times, values })
    }

    /// The corrected Akaike criterion: the less the better.
    fn score(&self, fit: &Fit) -> f64 {
        let (count, unknowns) = (self.times.len() as f64, fit.parameters.len() as f64 + 1.0);
        let penalty = 2.0 * unknowns + 2.0 * unknowns * (unknowns + 1.0) / (count - unknowns - 1.0);
        count * (fit.sum_of_squares / count).max(f64::MIN_POSITIVE).ln() + penalty
    }

    fn describe(&self, fitted: &Fit) -> Option<WarmUp> {
        let unknowns = fitted.parameters.len();
        let freedom = (self.times.len() - unknowns) as f64;
        let correlation = self.correlation(&fitted.parameters);
        // Of independent noise the correlation is within 2/√n, mostly. Beyond, fewer samples count.
        let beyond_chance = correlation > 2.0 / (self.times.len() as f64).sqrt();
        let widening = if beyond_chance { (1.0 + correlation) / (1.0 - correlation).max(0.01) } else { 1.0 };
        let variance = fitted.sum_of_squares / freedom * widening;
        let covariance = pseudo_inverse(&fitted.normal) * variance;
        let uncertainty = |index: usize| covariance[(index, index)].max(0.0).sqrt();
        let steady = fitted.parameters[0];
        let mut decays: Vec<Decay> = (1..unknowns)
            .step_by(2)
            .map(|index| {
                let time_constant_s = fitted.parameters[index + 1].exp();
                Decay {
                    rise: fitted.parameters[index],
                    rise_uncertainty: uncertainty(index),
                    time_constant_s,
                    time_constant_uncertainty_s: time_constant_s * uncertainty(index + 1),
                }
            })
            .collect();
        decays.sort_by(|a, b| b.time_constant_s.total_cmp(&a.time_constant_s));
        let reach = coverage_factor(0.95, Some(freedom))?;
        let allowed = fitted.sum_of_squares * (1.0 + widening * reach.powi(2) / freedom);
        let ends = [-1.0, 1.0].map(|way| self.profile_end(fitted, way, uncertainty(0), allowed));
        Some(WarmUp {
            start_s: self.start,
            steady,
            steady_uncertainty: uncertainty(0),
            steady_interval: ends,
            decays,
            noise: (fitted.sum_of_squares / freedom).sqrt(),
            correlation,
            samples: self.times.len(),
        })
    }

    fn correlation(&self, parameters: &DVector<f64>) -> f64 {
        let mut residuals = DVector::zeros(self.times.len());
        let mut jacobian = DMatrix::zeros(self.times.len(), parameters.len());
        self.evaluate(parameters, &mut residuals, &mut jacobian);
        let product: f64 = residuals.iter().zip(residuals.iter().skip(1)).map(|(a, b)| a * b).sum();
        let square = residuals.norm_squared();
        if square > 0.0 { product / square } else { 0.0 }
    }

    /// Where, going `way` from the best steady state, the best fit of all else has `allowed` squares left.
    fn profile_end(&self, best: &Fit, way: f64, uncertainty: f64, allowed: f64) -> f64 {
        let steady = best.parameters[0];
        let range = self.values.iter().fold(0.0_f64, |most, v| most.max((v - self.values[0]).abs()));
        let farthest = 100.0 * range.max(f64::MIN_POSITIVE);
        let step = if uncertainty.is_finite() { uncertainty } else { range };
        let mut step = step.clamp(1e-9 * range, 0.2 * range).max(f64::MIN_POSITIVE);
        let mut parameters = best.parameters.clone();
        let (mut inside, mut outside) = (0.0, None);
        while outside.is_none() && inside < farthest {
            let trial = inside + step;
            match self.profiled(&parameters, steady + way * trial, allowed) {
                Some(found) => {
                    (inside, parameters) = (trial, found);
                    step *= 1.5;
                }
                None => outside = Some(trial),
            }
        }
        let Some(mut outside) = outside else { return way * f64::INFINITY };
        while outside - inside > 1e-3 * outside {
            let middle = f64::midpoint(inside, outside);
            match self.profiled(&parameters, steady + way * middle, allowed) {
                Some(found) => (inside, parameters) = (middle, found),
                None => outside = middle,
            }
        }
        steady + way * outside
    }

    /// Parameters with this steady state that leave no more than `allowed`, if there are any.
    fn profiled(&self, near: &DVector<f64>, steady: f64, allowed: f64) -> Option<DVector<f64>> {
        let within = |start: &DVector<f64>| {
            let found = fit(self, start.clone(), Some(0))?;
            (found.sum_of_squares <= allowed).then_some(found.parameters)
        };
        let constants: Vec<f64> = near.iter().skip(2).step_by(2).map(|log| log.exp()).collect();
        let (from_near, _) = self.rises(&constants, steady)?;
        within(&from_near).or_else(|| {
            // The valley may have turned a corner: look for another way in before saying that there is none.
            let starts = grid(self, constants.len());
            let starts = starts.iter().filter_map(|constants| self.rises(constants, steady));
            within(&starts.min_by(|a, b| a.1.total_cmp(&b.1))?.0)
        })
    }

    /// The best parameters with these time constants and this steady state, and the squares they leave.
    fn rises(&self, constants: &[f64], steady: f64) -> Option<(DVector<f64>, f64)> {
        let terms = DMatrix::from_fn(self.times.len(), constants.len(), |row, column| {
            -(-self.times[row] / constants[column]).exp()
        });
        let values =
            DVector::from_iterator(self.values.len(), self.values.iter().map(|value| value - steady));
        let rises = invert(&terms.tr_mul(&terms))? * terms.tr_mul(&values);
        let left = (&terms * &rises - values).norm_squared();
        Some((parameters(steady, rises.as_slice(), constants), left))
    }

    /// The linear parameters at given time constants, and the sum of squares they leave.
    fn linear(&self, constants: &[f64]) -> Option<(DVector<f64>, f64)> {
        let size = constants.len() + 1;
        let terms = DMatrix::from_fn(self.times.len(), size, |row, column| match column {
            0 => 1.0,
            _ => -(-self.times[row] / constants[column - 1]).exp(),
        });
        let values = DVector::from_column_slice(&self.values);
        let found = invert(&terms.tr_mul(&terms))? * terms.tr_mul(&values);
        let left = (&terms * &found - values).norm_squared();
        Some((found, left))
    }
}

impl Model for Series {
    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: &mut DMatrix<f64>,
    ) -> bool {
        let decays: Vec<(usize, f64, f64)> = (1..parameters.len())
            .step_by(2)
            .map(|index| (index, parameters[index], (-parameters[index + 1]).exp()))
            .collect();
        // A decay of thousands of spans is a straight line, one of a tiny part of it a single sample.
        if decays.iter().any(|(_, _, rate)| !(1e-4..=1e4).contains(&(rate * self.span))) {
            return false;
        }
        for (row, (time, value)) in self.times.iter().zip(&self.values).enumerate() {
            let mut model = parameters[0];
            jacobian[(row, 0)] = 1.0;
            for &(index, rise, rate) in &decays {
                let shape = (-time * rate).exp();
                model -= rise * shape;
                jacobian[(row, index)] = -shape;
                // d/d ln τ of −A e^(−t/τ).
                jacobian[(row, index + 1)] = -rise * shape * time * rate;
            }
            residuals[row] = model - value;
        }
        true
    }

    fn count(&self) -> usize {
        self.times.len()
    }
}

/// The best fit of this many decays, from the best places of a grid of time constants.
fn best_fit(series: &Series, decays: usize) -> Option<Fit> {
    const STARTS: usize = 3;
    if series.times.len() < 4 * decays + 4 {
        return None;
    }
    let mut starts: Vec<(f64, DVector<f64>)> = grid(series, decays)
        .iter()
        .filter_map(|constants| {
            let (linear, left) = series.linear(constants)?;
            let (steady, rises) = linear.as_slice().split_first()?;
            Some((left, parameters(*steady, rises, constants)))
        })
        .collect();
    starts.sort_by(|a, b| a.0.total_cmp(&b.0));
    let fits = starts.into_iter().take(STARTS).filter_map(|(_, start)| fit(series, start, None));
    fits.min_by(|a, b| a.sum_of_squares.total_cmp(&b.sum_of_squares))
}

/// Time constants that between them cover what the series can show.
fn grid(series: &Series, decays: usize) -> Vec<Vec<f64>> {
    const GRID: usize = 14;
    let spacing = series.span / (series.times.len() - 1) as f64;
    let (least, most) = (2.0 * spacing, 10.0 * series.span);
    let constant = |index: usize| least * (most / least).powf(index as f64 / (GRID - 1) as f64);
    let slow = 0..GRID;
    if decays == 1 {
        slow.map(|slow| vec![constant(slow)]).collect()
    } else {
        slow.flat_map(|slow| (0..slow).map(move |fast| vec![constant(slow), constant(fast)])).collect()
    }
}

fn parameters(steady: f64, rises: &[f64], constants: &[f64]) -> DVector<f64> {
    let pairs = rises.iter().zip(constants).flat_map(|(rise, constant)| [*rise, constant.ln()]);
    let all: Vec<f64> = std::iter::once(steady).chain(pairs).collect();
    DVector::from_vec(all)
}

/// The inverse, or where parameters cannot be told apart an infinite variance of each.
fn pseudo_inverse(normal: &DMatrix<f64>) -> DMatrix<f64> {
    let scale = DVector::from_iterator(normal.nrows(), normal.diagonal().iter().map(|d| d.sqrt().recip()));
    let scaled =
        DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| normal[(i, j)] * scale[i] * scale[j]);
    match scaled.cholesky() {
        Some(factor) => {
            let inverse = factor.inverse();
            DMatrix::from_fn(normal.nrows(), normal.ncols(), |i, j| inverse[(i, j)] * scale[i] * scale[j])
        }
        None => DMatrix::from_element(normal.nrows(), normal.ncols(), f64::INFINITY),
    }
}

/// When a board counts as warmed up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stability {
    /// It changes more slowly than this, kelvin per minute.
    pub rate_k_per_min: f64,
    /// Seen over this long, minutes.
    pub over_min: f64,
}

/// Since when a series has been stable, s: the first time from which on the least-squares rate over the
/// preceding `over_min` has always been below the limit. `None` where it is not stable at its end.
///
/// `times_s` rises; values that are not finite are left out.
#[must_use]
pub fn stable_since(times_s: &[f64], values: &[f64], stability: Stability) -> Option<f64> {
    let count = times_s.len().min(values.len());
    let start = *times_s.first()?;
    let window = stability.over_min * 60.0;
    let mut since = None;
    for end in (0..count).rev() {
        let time = times_s[end];
        if time - start < window {
            break;
        }
        let first = times_s.partition_point(|earlier| *earlier < time - window).min(end);
        let rate = slope(time, &times_s[first..=end], &values[first..=end]) * 60.0;
        // A rate that is not known is not slow.
        if rate.is_nan() || rate.abs() >= stability.rate_k_per_min {
            break;
        }
        since = Some(time);
    }
    since
}

#[cfg(test)]
mod tests {
    use super::*;

    fn warm_up(count: u32, noise: impl Fn(u32) -> f64) -> (Vec<f64>, Vec<f64>) {
        let times: Vec<f64> = (0..count).map(|n| 5.0 + f64::from(n)).collect();
        let value =
            |time: f64| 335.0 - 28.0 * (-(time - 5.0) / 140.0).exp() - 9.0 * (-(time - 5.0) / 15.0).exp();
        let values = times.iter().zip(0..).map(|(time, n)| value(*time) + noise(n)).collect();
        (times, values)
    }

    #[test]
    fn two_decays_without_noise_are_found_as_they_are() {
        let (times, values) = warm_up(300, |n| if n % 2 == 0 { 1e-4 } else { -1e-4 });
        let found = fit_warm_up(&times, &values).unwrap();
        assert_eq!(found.decays.len(), 2);
        assert!((found.steady - 335.0).abs() < 0.01, "{found:?}");
        assert!((found.decays[0].time_constant_s - 140.0).abs() < 0.2);
        assert!((found.decays[1].time_constant_s - 15.0).abs() < 0.1);
        assert!((found.at(105.0) - values[100]).abs() < 1e-3);
        // 28 e^(−t/140) = 1 after 466.5 s; the fast decay is over by then.
        assert!((found.time_left(5.0, 1.0) - 140.0 * 28.0_f64.ln()).abs() < 1.0);
        assert_eq!(found.time_left(5.0, 100.0), 0.0);
    }

    #[test]
    fn a_single_decay_is_not_made_two() {
        let times: Vec<f64> = (0..200).map(f64::from).collect();
        let mut state = 7_u32;
        let values: Vec<f64> = times
            .iter()
            .map(|time| {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                320.0 - 20.0 * (-time / 60.0).exp() + 0.1 * (f64::from(state >> 8) / f64::from(1 << 24) - 0.5)
            })
            .collect();
        let found = fit_warm_up(&times, &values).unwrap();
        assert_eq!(found.decays.len(), 1);
        assert!(found.steady_interval[0] < 320.0 && found.steady_interval[1] > 320.0, "{found:?}");
    }

    #[test]
    fn a_straight_line_has_no_steady_state_that_is_bounded_above() {
        let times: Vec<f64> = (0..60).map(f64::from).collect();
        let values: Vec<f64> = times
            .iter()
            .map(|t| 300.0 + 0.2 * t + if (*t as u32).is_multiple_of(2) { 0.05 } else { -0.05 })
            .collect();
        match fit_warm_up(&times, &values) {
            Ok(found) => assert_eq!(found.steady_interval[1], f64::INFINITY, "{found:?}"),
            Err(error) => assert_eq!(error, WarmUpError::NoBend),
        }
    }

    #[test]
    fn stable_is_told_from_the_rate_of_the_last_minutes() {
        let (times, values) = warm_up(1200, |_| 0.0);
        let criterion = Stability { rate_k_per_min: 0.1, over_min: 2.0 };
        let since = stable_since(&times, &values, criterion).unwrap();
        // The rate 28·60/140 e^(−t/140) K/min falls below 0.1 at t = 140 ln 120 = 670 s; a window of 120 s
        // sees the rate of about 60 s before its end.
        assert!((since - 5.0 - 670.0 - 60.0).abs() < 15.0, "{since}");
        assert_eq!(stable_since(&times[..300], &values[..300], criterion), None);
    }
}
