//! Variances from few boards, made steadier by what all places have in common.
//!
//! Empirical Bayes: each place's variance is taken as drawn from a scaled inverse-χ² law about a trend,
//! σ² ~ d₀ s₀² / χ²(d₀). The trend is a sum of non-negative shares, since independent causes add their
//! variances: each feature of the place (noise, the square of its rise, …) times what all places have in
//! common. It is fitted to log s², whose scatter is alike everywhere; d₀ follows from that scatter.
//! The moderated variance (d₀ s₀² + d s²) / (d₀ + d) has d₀ + d degrees of freedom, and a value over its
//! root is Student's t.
//! Where places share nothing, d₀ comes out small and each stands for itself. It is held to d at most:
//! most places are bland and alike, and must not be trusted over what the few lively ones show.
//!
//! # Source
//! G. K. Smyth, *Linear models and empirical Bayes methods for assessing differential expression*,
//! Stat. Appl. Genet. Mol. Biol. 3 (2004), section 6 (named from memory), there with one s₀² for all.

use nalgebra::{SMatrix, SVector};
use statrs::function::gamma::digamma;

/// What adds to a place's variance: the first is 1 for all, none is negative.
pub(super) const FEATURES: usize = 6;
pub(super) type Features = [f64; FEATURES];

/// No variance counts as smaller, K²: 10 mK, about what a camera's digits leave over.
const LEAST_VARIANCE: f64 = 1e-4;

/// More prior freedom than this is as good as endless.
const MOST_FREEDOM: f64 = 1e4;

/// So many places tell the trend; of more, every so-manieth is taken.
const MOST_PLACES: usize = 20_000;
const ITERATIONS: usize = 60;

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
        let valid = || {
            variances
                .iter()
                .zip(features)
                .filter(|(variance, features)| !variance.is_nan() && features.iter().all(|f| f.is_finite()))
        };
        let count = valid().count();
        let places: Vec<(f64, Features)> = valid()
            .step_by(count / MOST_PLACES + 1)
            .map(|(&variance, features)| (f64::from(variance).max(LEAST_VARIANCE).ln() - bias, *features))
            .collect();
        if places.len() <= FEATURES {
            // Too few places to learn anything from: each stands for itself.
            return Self { freedom: 0.0, coefficients: [0.0; FEATURES] };
        }
        let mut coefficients = trend(&places);
        let scatter = squares_left(&places, &coefficients) / (places.len() - FEATURES) as f64;
        let prior_freedom = (2.0 * inverse_trigamma(scatter - trigamma(freedom / 2.0))).min(MOST_FREEDOM);
        let shift = (digamma(prior_freedom / 2.0) - (prior_freedom / 2.0).ln()).exp();
        coefficients = coefficients.map(|c| c * shift);
        Self { freedom: prior_freedom.min(freedom), coefficients }
    }

    /// s₀² of a place with these features.
    fn variance(&self, features: &Features) -> f64 {
        sum(features, &self.coefficients).max(LEAST_VARIANCE)
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

fn sum(features: &Features, coefficients: &Features) -> f64 {
    features.iter().zip(coefficients).map(|(f, c)| f * c).sum()
}

fn squares_left(places: &[(f64, Features)], coefficients: &Features) -> f64 {
    places.iter().map(|(log, features)| (log - sum(features, coefficients).max(1e-30).ln()).powi(2)).sum()
}

/// The non-negative coefficients whose sums come nearest to the logarithms, by least squares.
///
/// Levenberg and Marquardt's damped steps on the coefficients' own logarithms.
fn trend(places: &[(f64, Features)]) -> Features {
    let count = places.len() as f64;
    let level = (places.iter().map(|(log, _)| log).sum::<f64>() / count).exp();
    let means: Features =
        std::array::from_fn(|f| places.iter().map(|(_, features)| features[f]).sum::<f64>() / count);
    // All share the level alike at first; a feature that is nowhere has no say.
    let mut coefficients = means.map(|mean| if mean > 0.0 { level / mean / FEATURES as f64 } else { 0.0 });
    let mut left = squares_left(places, &coefficients);
    let mut damping = 1e-2;
    for _ in 0..ITERATIONS {
        let mut normal = SMatrix::<f64, FEATURES, FEATURES>::zeros();
        let mut right = SVector::<f64, FEATURES>::zeros();
        for (log, features) in places {
            let fit = sum(features, &coefficients).max(1e-30);
            let row = SVector::<f64, FEATURES>::from_fn(|f, _| features[f] * coefficients[f] / fit);
            normal += row * row.transpose();
            right += row * (log - fit.ln());
        }
        let damped = normal + SMatrix::identity() * (damping * normal.trace() / FEATURES as f64);
        let Some(step) = damped.cholesky().map(|factor| factor.solve(&right)) else { break };
        let next: Features = std::array::from_fn(|f| coefficients[f] * step[f].clamp(-3.0, 3.0).exp());
        let left_next = squares_left(places, &next);
        if left_next < left {
            let settled = left - left_next < 1e-6 * left;
            (coefficients, left) = (next, left_next);
            damping /= 5.0;
            if settled {
                break;
            }
        } else {
            damping *= 5.0;
            if damping > 1e8 {
                break;
            }
        }
    }
    coefficients
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
        let features = vec![[1.0, 0.0, 0.0, 0.0, 0.0, 0.0]; 2000];
        let prior = Prior::learn(&alike, &features, 4.0);
        assert!((prior.freedom - 4.0).abs() < 1e-9, "as much as each has of its own: {prior:?}");
        assert!((prior.variance(&features[0]) - 1.0).abs() < 0.1, "{prior:?}");
        // The same ones spread over four decades in no relation to any feature.
        let unlike: Vec<f32> =
            alike.iter().enumerate().map(|(i, v)| v * 10_f32.powf((i % 41) as f32 / 10.0)).collect();
        assert!(Prior::learn(&unlike, &features, 4.0).freedom < 1.0);
    }

    #[test]
    fn what_causes_the_spread_comes_back_from_sums_of_causes() {
        // σ² = 0.01 + 4·a + 0.5·b exactly, over decades of both causes; two features have no say.
        let place =
            |i: i32| [1.0, 10_f64.powf(f64::from(i % 13) / 3.0 - 3.0), 0.0, f64::from(i % 7), 0.0, 0.0];
        let features: Vec<Features> = (0..500).map(place).collect();
        let variances: Vec<f32> = features.iter().map(|f| (0.01 + 4.0 * f[1] + 0.5 * f[3]) as f32).collect();
        let freedom = 9.0;
        let prior = Prior::learn(&variances, &features, freedom);
        for (features, variance) in features.iter().zip(&variances) {
            // The logarithm of a sample variance lies below that of the true one by this much on average.
            let bias = digamma(freedom / 2.0) - (freedom / 2.0).ln();
            let own = f64::from(*variance) / bias.exp();
            // Without scatter the prior's freedom is without end.
            assert!((prior.variance(features) / own - 1.0).abs() < 0.01, "{features:?}: {prior:?}");
        }
    }
}
