//! Variances from few boards, made steadier by what all places have in common.
//!
//! Empirical Bayes: each place's variance is taken as drawn from a scaled inverse-χ² law about a trend,
//! σ² ~ d₀ s₀² / χ²(d₀). The trend is a straight line of log s² against features of the place; d₀ and
//! s₀² follow from the scatter of log s² about it. The moderated variance
//! (d₀ s₀² + d s²) / (d₀ + d) has d₀ + d degrees of freedom, and a value over its root is Student's t.
//! Where places share nothing, d₀ comes out small and each stands for itself. It is held to d at most:
//! most places are bland and alike, and must not be trusted over what the few lively ones show.
//!
//! # Source
//! G. K. Smyth, *Linear models and empirical Bayes methods for assessing differential expression*,
//! Stat. Appl. Genet. Mol. Biol. 3 (2004), section 6 (named from memory), there with one s₀² for all.

use nalgebra::{SMatrix, SVector};
use statrs::function::gamma::digamma;

/// Features of a place that the trend may follow; the first is 1 for all.
pub(super) const FEATURES: usize = 4;
pub(super) type Features = [f64; FEATURES];

/// No variance counts as smaller, K²: 10 mK, about what a camera's digits leave over.
const LEAST_VARIANCE: f64 = 1e-4;

/// More prior freedom than this is as good as endless.
const MOST_FREEDOM: f64 = 1e4;

/// What the places have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Prior {
    /// Degrees of freedom d₀.
    pub(super) freedom: f64,
    coefficients: Features,
}

impl Prior {
    /// Learns from the variances of many places, each with `freedom` degrees of freedom; NaN is skipped.
    pub(super) fn learn(variances: &[f32], features: &[Features], freedom: f64) -> Self {
        let bias = digamma(freedom / 2.0) - (freedom / 2.0).ln();
        let places = || {
            variances
                .iter()
                .zip(features)
                .filter(|(variance, features)| !variance.is_nan() && features.iter().all(|f| f.is_finite()))
                .map(|(&variance, features)| {
                    (
                        f64::from(variance).max(LEAST_VARIANCE).ln() - bias,
                        SVector::<f64, FEATURES>::from(*features),
                    )
                })
        };
        let mut normal = SMatrix::<f64, FEATURES, FEATURES>::zeros();
        let mut right = SVector::<f64, FEATURES>::zeros();
        let mut count = 0;
        for (log, features) in places() {
            normal += features * features.transpose();
            right += features * log;
            count += 1;
        }
        // A feature that is the same everywhere must not make the line undetermined.
        let ridge = normal.trace() * 1e-9;
        let steadied = normal + SMatrix::identity() * ridge;
        let solution = steadied.cholesky().map_or_else(SVector::zeros, |factor| factor.solve(&right));
        if count <= FEATURES {
            // Too few places to learn anything from: each stands for itself.
            return Self { freedom: 0.0, coefficients: solution.into() };
        }
        let scatter = places().map(|(log, features)| (log - features.dot(&solution)).powi(2)).sum::<f64>()
            / (count - FEATURES) as f64;
        let prior_freedom = (2.0 * inverse_trigamma(scatter - trigamma(freedom / 2.0))).min(MOST_FREEDOM);
        let mut coefficients: Features = solution.into();
        coefficients[0] += digamma(prior_freedom / 2.0) - (prior_freedom / 2.0).ln();
        Self { freedom: prior_freedom.min(freedom), coefficients }
    }

    /// s₀² of a place with these features.
    fn variance(&self, features: &Features) -> f64 {
        features.iter().zip(&self.coefficients).map(|(f, c)| f * c).sum::<f64>().exp().max(LEAST_VARIANCE)
    }

    /// The moderated variance of a place whose own is `variance` with `freedom` degrees of freedom.
    pub(super) fn moderate(&self, variance: f64, features: &Features, freedom: f64) -> f64 {
        let own = freedom * variance.max(LEAST_VARIANCE);
        if self.freedom <= 0.0 {
            return own / freedom;
        }
        (self.freedom * self.variance(features) + own) / (self.freedom + freedom)
    }
}

/// The second derivative of ln Γ, for x > 0: recurrence up to 6, then the asymptotic series
/// (Abramowitz & Stegun 6.4.12, cited from memory).
fn trigamma(x: f64) -> f64 {
    let (mut x, mut sum) = (x, 0.0);
    while x < 6.0 {
        sum += 1.0 / (x * x);
        x += 1.0;
    }
    let y = 1.0 / (x * x);
    sum + 1.0 / x + y / 2.0 + y / x * (1.0 / 6.0 - y * (1.0 / 30.0 - y * (1.0 / 42.0 - y / 30.0)))
}

/// The x at which trigamma takes this value; infinite for zero or less. Bisection on ln x.
fn inverse_trigamma(value: f64) -> f64 {
    if value <= 0.0 {
        return f64::INFINITY;
    }
    let (mut low, mut high) = (-12.0_f64, 16.0_f64);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if trigamma(middle.exp()) > value { low = middle } else { high = middle }
    }
    (0.5 * (low + high)).exp()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trigamma_takes_its_known_values() {
        let squared = std::f64::consts::PI.powi(2);
        // ψ′(1) = π²/6, ψ′(½) = π²/2, ψ′(2) = π²/6 − 1.
        for (x, exact) in [(1.0, squared / 6.0), (0.5, squared / 2.0), (2.0, squared / 6.0 - 1.0)] {
            assert!((trigamma(x) / exact - 1.0).abs() < 1e-7, "{x}");
            assert!((inverse_trigamma(exact) / x - 1.0).abs() < 1e-6, "{x}");
        }
    }

    #[test]
    fn equal_variances_are_pooled_and_unlike_ones_left_alone() {
        // Sums of four squared normal-like steps, from a linear congruence: one true variance of 1.
        let mut state = 1_u32;
        let mut normal = || {
            (0..12)
                .map(|_| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    f64::from(state >> 8) / f64::from(1_u32 << 24)
                })
                .sum::<f64>()
                - 6.0
        };
        let alike: Vec<f32> =
            (0..2000).map(|_| ((0..4).map(|_| normal().powi(2)).sum::<f64>() / 4.0) as f32).collect();
        let features = vec![[1.0, 0.0, 0.0, 0.0]; 2000];
        let prior = Prior::learn(&alike, &features, 4.0);
        assert!((prior.freedom - 4.0).abs() < 1e-9, "as much as each has of its own: {prior:?}");
        assert!((prior.variance(&features[0]) - 1.0).abs() < 0.1, "{prior:?}");
        // The same ones spread over four decades in no relation to any feature.
        let unlike: Vec<f32> =
            alike.iter().enumerate().map(|(i, v)| v * 10_f32.powf((i % 41) as f32 / 10.0)).collect();
        assert!(Prior::learn(&unlike, &features, 4.0).freedom < 1.0);
    }
}
