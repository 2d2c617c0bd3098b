//! Where a small source of heat sits, from the maps of a lock-in.
//!
//! A spot of Gaussian shape on a level ground is fitted to what swings with the phase of the spot's own
//! peak. That part has normal noise of a known size, so the fit's covariance is that of the place. The
//! amplitude would not do: its noise is never negative, and grows a ground of its own.

use nalgebra::{DMatrix, DVector, Matrix2};

use super::least_squares::{Model, fit};
use super::lock_in::HarmonicMaps;
use super::normal_equations::invert;
use crate::geometry::{BaselinePixels, Point};

/// A source found by [`locate_source`]. Lengths are pixels, swings kelvin (peak), uncertainties standard.
#[derive(Debug, Clone, PartialEq)]
pub struct PointSource {
    /// Its place.
    pub at: Point<BaselinePixels>,
    /// Covariance of the place, pixels²: x x, x y, y y.
    pub covariance: [f64; 3],
    /// The fitted shape's amplitude. A source less round than a Gaussian has a higher peak: near a point
    /// source on a thick body about a sixth, in simulation.
    pub amplitude: f64,
    /// Uncertainty of the amplitude.
    pub amplitude_uncertainty: f64,
    /// The spot's lag behind the reference, radians, averaged with the fitted shape: more than right at a
    /// source, as the lag grows with the distance (by 7° to 9° in simulation, at a width of μ/2).
    pub lag: f64,
    /// Uncertainty of the lag, radians.
    pub lag_uncertainty: f64,
    /// Standard deviation of the Gaussian shape.
    pub width: f64,
}

/// An ellipse around a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UncertaintyEllipse {
    /// Half of its greatest length, pixels.
    pub semi_major: f64,
    /// Half of its least length, pixels.
    pub semi_minor: f64,
    /// From the x axis to the greatest length, radians, towards y (down).
    pub angle: f64,
}

impl PointSource {
    /// The ellipse that holds the place with this probability, from 0 to 1: semi-axes √(−2 ln(1 − p) λ),
    /// λ the covariance's eigenvalues (χ² law with 2 degrees of freedom).
    #[must_use]
    pub fn ellipse(&self, probability: f64) -> UncertaintyEllipse {
        let [xx, xy, yy] = self.covariance;
        let reach = -2.0 * (1.0 - probability.clamp(0.0, 1.0 - 1e-12)).ln();
        let (middle, half) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
        UncertaintyEllipse {
            semi_major: (reach * (middle + half)).sqrt(),
            semi_minor: (reach * (middle - half).max(0.0)).sqrt(),
            angle: 0.5 * (2.0 * xy).atan2(xx - yy),
        }
    }
}

/// Standard deviations, in pixels, of the shapes that the search for the strongest spot tries.
const SEARCH_WIDTHS: [f64; 3] = [1.0, 2.0, 4.0];
/// The fit's window reaches this many widths from the spot.
const REACH: f64 = 3.0;
/// Least half width of the window, pixels.
const LEAST_REACH: f64 = 5.0;

/// The strongest spot of the maps. `noise` is that of one pixel in one frame, K, as
/// [`LockInMaps::typical_noise`](super::LockInMaps::typical_noise) has it.
///
/// `None` where no spot stands out: its amplitude must be beyond what the noise shows anywhere in the
/// picture with a probability of 1 %. Where the spot is not Gaussian the covariance grows with the misfit.
#[must_use]
pub fn locate_source(maps: &HarmonicMaps, noise: f64) -> Option<PointSource> {
    let deviation = noise * maps.in_phase_factor.hypot(maps.quadrature_factor) / std::f64::consts::SQRT_2;
    let peak = find_peak(maps, deviation)?;
    let mut window = Window { center: peak.at, reach: (REACH * peak.width).max(LEAST_REACH) };
    let mut start = DVector::from_vec(vec![peak.amplitude, peak.at.x, peak.at.y, peak.width.ln(), 0.0]);
    let (sine, cosine) = peak.lag.sin_cos();
    let mut found = None;
    // Once to learn place and width, once more in a window that fits them.
    for _ in 0..2 {
        let spot = Spot::new(maps, window, sine, cosine)?;
        let fitted = fit(&spot, start.clone(), None)?;
        let [x, y] = [fitted.parameters[1], fitted.parameters[2]];
        let width = fitted.parameters[3].exp();
        window = Window { center: Point::new(x, y), reach: (REACH * width).clamp(LEAST_REACH, 60.0) };
        start = fitted.parameters.clone();
        found = Some((spot, fitted));
    }
    let (spot, fitted) = found?;
    let freedom = spot.values.len().checked_sub(5).filter(|freedom| *freedom > 0)? as f64;
    let variance = (fitted.sum_of_squares / freedom).max(deviation * deviation);
    let covariance = invert(&fitted.normal)? * variance;
    let (quarter, quarter_uncertainty) = spot.across(maps, &fitted.parameters, deviation);
    let amplitude = fitted.parameters[0];
    let strong = amplitude > 0.0 && covariance.iter().all(|value| value.is_finite());
    strong.then(|| PointSource {
        at: Point::new(fitted.parameters[1], fitted.parameters[2]),
        covariance: [covariance[(1, 1)], covariance[(1, 2)], covariance[(2, 2)]],
        amplitude: amplitude.hypot(quarter),
        amplitude_uncertainty: covariance[(0, 0)].sqrt(),
        lag: wrap(peak.lag + quarter.atan2(amplitude)),
        lag_uncertainty: quarter_uncertainty / amplitude,
        width: fitted.parameters[3].exp(),
    })
}

fn wrap(angle: f64) -> f64 {
    let (sine, cosine) = angle.sin_cos();
    sine.atan2(cosine)
}

struct Peak {
    at: Point<BaselinePixels>,
    amplitude: f64,
    lag: f64,
    width: f64,
}

/// The pixel where a spot of one of the search's widths stands out most.
fn find_peak(maps: &HarmonicMaps, deviation: f64) -> Option<Peak> {
    let (rows, columns) = maps.in_phase.shape();
    let mut best: Option<(f64, Peak)> = None;
    for width in SEARCH_WIDTHS {
        let weights = gaussian(width);
        let [in_phase, quadrature] =
            [&maps.in_phase, &maps.quadrature].map(|map| smooth(map.as_slice(), columns, &weights));
        // The noise that is left after smoothing, and the share of a spot of this width that is left.
        let square: f64 = weights.iter().map(|weight| weight * weight).sum();
        let left = deviation * square;
        let both = in_phase.iter().zip(&quadrature).enumerate();
        let strongest = both
            .map(|(at, (p, q))| (p.hypot(*q), at))
            .fold((0.0_f64, 0), |best, found| if found.0 > best.0 { found } else { best });
        let (amplitude, at) = strongest;
        let standing_out = amplitude / left;
        if best.as_ref().is_none_or(|(known, _)| standing_out > *known) {
            let lag = quadrature.get(at)?.atan2(*in_phase.get(at)?);
            let place = Point::new((at % columns) as f64, (at / columns) as f64);
            // Smoothing a spot with its own shape halves it.
            best = Some((standing_out, Peak { at: place, amplitude: 2.0 * amplitude, lag, width }));
        }
    }
    let (standing_out, peak) = best?;
    // Without a swing the amplitude's square has an exponential law of mean 2 σ².
    let chance_alone = (2.0 * ((rows * columns) as f64 * SEARCH_WIDTHS.len() as f64 / 0.01).ln()).sqrt();
    (standing_out > chance_alone).then_some(peak)
}

fn gaussian(width: f64) -> Vec<f64> {
    let reach = (3.0 * width).ceil() as i32;
    let weights: Vec<f64> =
        (-reach..=reach).map(|at| (-f64::from(at * at) / (2.0 * width * width)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|weight| weight / sum).collect()
}

/// Smoothing along rows, then along columns; invalid pixels count as zero.
fn smooth(values: &[f32], columns: usize, weights: &[f64]) -> Vec<f64> {
    let reach = weights.len() / 2;
    let mut along = vec![0.0; values.len()];
    for (from, to) in values.chunks_exact(columns).zip(along.chunks_exact_mut(columns)) {
        for (column, to) in to.iter_mut().enumerate() {
            let first = reach.saturating_sub(column);
            let start = (column + first).saturating_sub(reach);
            let pairs = weights.iter().skip(first).zip(from.iter().skip(start));
            *to = pairs
                .map(|(weight, &value)| if value.is_nan() { 0.0 } else { weight * f64::from(value) })
                .sum();
        }
    }
    let rows = values.len() / columns;
    let mut smoothed = vec![0.0; values.len()];
    for (row, to) in smoothed.chunks_exact_mut(columns).enumerate() {
        for (offset, weight) in weights.iter().enumerate() {
            let Some(from) = (row + offset).checked_sub(reach).filter(|from| *from < rows) else { continue };
            let from = &along[from * columns..(from + 1) * columns];
            to.iter_mut().zip(from).for_each(|(to, from)| *to += weight * from);
        }
    }
    smoothed
}

#[derive(Clone, Copy)]
struct Window {
    center: Point<BaselinePixels>,
    reach: f64,
}

/// The pixels of a window, and what swings there with the spot's phase.
struct Spot {
    places: Vec<(usize, usize)>,
    values: Vec<f64>,
    window: Window,
    sine: f64,
    cosine: f64,
}

impl Spot {
    fn new(maps: &HarmonicMaps, window: Window, sine: f64, cosine: f64) -> Option<Self> {
        let (rows, columns) = maps.in_phase.shape();
        let range = |center: f64, count: usize| {
            let first = (center - window.reach).ceil().max(0.0) as usize;
            let end = ((center + window.reach).floor().max(-1.0) + 1.0) as usize;
            first.min(count)..end.min(count)
        };
        let mut spot = Self { places: Vec::new(), values: Vec::new(), window, sine, cosine };
        for row in range(window.center.y, rows) {
            for column in range(window.center.x, columns) {
                let part = maps.in_phase.at(row, column).zip(maps.quadrature.at(row, column));
                if let Some((p, q)) = part {
                    spot.places.push((row, column));
                    spot.values.push(f64::from(p) * cosine + f64::from(q) * sine);
                }
            }
        }
        (spot.values.len() > 8).then_some(spot)
    }

    /// What swings a quarter period after the spot's phase, as a spot of the fitted shape: amplitude and
    /// its standard uncertainty.
    fn across(&self, maps: &HarmonicMaps, parameters: &DVector<f64>, deviation: f64) -> (f64, f64) {
        let width = parameters[3].exp();
        // Two unknowns, spot and ground.
        let (mut normal, mut right) = (Matrix2::zeros(), nalgebra::Vector2::zeros());
        for &(row, column) in &self.places {
            let Some((p, q)) = maps.in_phase.at(row, column).zip(maps.quadrature.at(row, column)) else {
                continue;
            };
            let value = f64::from(q) * self.cosine - f64::from(p) * self.sine;
            let (x, y) = (column as f64 - parameters[1], row as f64 - parameters[2]);
            let terms = nalgebra::Vector2::new((-(x * x + y * y) / (2.0 * width * width)).exp(), 1.0);
            normal += terms * terms.transpose();
            right += terms * value;
        }
        normal
            .try_inverse()
            .map_or((0.0, f64::NAN), |inverse| ((inverse * right)[0], deviation * inverse[(0, 0)].sqrt()))
    }
}

impl Model for Spot {
    /// Parameters: amplitude, x, y, ln width, ground.
    fn evaluate(
        &self,
        parameters: &DVector<f64>,
        residuals: &mut DVector<f64>,
        jacobian: &mut DMatrix<f64>,
    ) -> bool {
        let [amplitude, x, y, log_width, ground] = [0, 1, 2, 3, 4].map(|index| parameters[index]);
        let width = log_width.exp();
        let center = self.window.center;
        let strayed = (x - center.x).abs().max((y - center.y).abs()) > self.window.reach;
        if strayed || !(0.3..=2.0 * self.window.reach).contains(&width) {
            return false;
        }
        let square = width * width;
        for (index, (&(row, column), value)) in self.places.iter().zip(&self.values).enumerate() {
            let (dx, dy) = (column as f64 - x, row as f64 - y);
            let distance = (dx * dx + dy * dy) / square;
            let shape = (-distance / 2.0).exp();
            residuals[index] = amplitude * shape + ground - value;
            let slopes = [
                shape,
                amplitude * shape * dx / square,
                amplitude * shape * dy / square,
                amplitude * shape * distance,
                1.0,
            ];
            slopes.into_iter().enumerate().for_each(|(term, slope)| jacobian[(index, term)] = slope);
        }
        true
    }

    fn count(&self) -> usize {
        self.values.len()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Frame;

    #[test]
    fn a_gaussian_spot_is_found_where_it_is_with_its_lag() {
        let at = Point::<BaselinePixels>::new(23.3, 15.8);
        let map = |part: f64| {
            let numbers = (0..40 * 50).map(|index| {
                let distance = at.distance(Point::new(f64::from(index % 50), f64::from(index / 50)));
                (part * (-distance * distance / (2.0 * 2.5 * 2.5)).exp()) as f32
            });
            Frame::from_rows(40, 50, numbers.collect()).unwrap()
        };
        let (p, q) = (0.02 * 0.6, 0.02 * 0.8);
        let maps = HarmonicMaps {
            amplitude: map(0.02),
            in_phase: map(p),
            quadrature: map(q),
            lag: Frame::from_rows(1, 1, vec![0.0]).unwrap(),
            in_phase_factor: 0.05,
            quadrature_factor: 0.05,
        };
        let source = locate_source(&maps, 0.01).unwrap();
        assert!(source.at.distance(at) < 1e-3, "{source:?}");
        assert!((source.lag - 0.8_f64.atan2(0.6)).abs() < 1e-4);
        assert!((source.amplitude - 0.02).abs() < 1e-5 && (source.width - 2.5).abs() < 1e-3);
        // Least variance of a Gaussian's place in white noise, summed over the plane instead of pixels:
        // σ² · 2 / (π A²), here with σ = 0.01 · 0.05.
        let expected = (2.0 / std::f64::consts::PI).sqrt() * 0.01 * 0.05 / 0.02;
        assert!((source.covariance[0].sqrt() / expected - 1.0).abs() < 0.02, "{source:?}");
        assert_eq!(locate_source(&maps, 10.0), None);
    }

    #[test]
    fn the_ellipse_of_a_round_covariance_is_the_circle_of_the_chi_square_law() {
        let source = PointSource {
            at: Point::new(0.0, 0.0),
            covariance: [4.0, 0.0, 4.0],
            amplitude: 1.0,
            amplitude_uncertainty: 0.1,
            lag: 0.0,
            lag_uncertainty: 0.1,
            width: 1.0,
        };
        let ellipse = source.ellipse(0.95);
        // χ² with 2 degrees of freedom: 5.991 at 95 %.
        assert!((ellipse.semi_major - 2.0 * 5.991_464_5_f64.sqrt()).abs() < 1e-6);
        assert!((ellipse.semi_minor - ellipse.semi_major).abs() < 1e-9);
    }
}
