//! How far a value drawn from few others may lie: Student's t.

use serde::{Deserialize, Serialize};
use statrs::function::beta::beta_reg;
use statrs::function::erf::erfc;

/// From so many degrees of freedom on t is the normal law to nine digits of what is shown.
const NORMAL_FROM: f64 = 1e7;

/// The probability that |t| with `freedom` degrees of freedom exceeds `t`; NaN without freedom.
///
/// By the regularised incomplete beta function, I(ν / (ν + t²); ν/2, ½), which keeps its digits far out.
#[must_use]
pub fn two_sided_probability(t: f64, freedom: f64) -> f64 {
    if t.is_nan() || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    let t = t.abs();
    if t.is_infinite() {
        return 0.0;
    }
    if freedom >= NORMAL_FROM {
        return erfc(t / std::f64::consts::SQRT_2);
    }
    // Far out the argument may round to the end of its range.
    beta_reg(freedom / 2.0, 0.5, (freedom / (freedom + t * t)).clamp(0.0, 1.0))
}

/// The t that |t| exceeds with `probability` (0 to 1); NaN outside the range or without freedom.
#[must_use]
pub fn critical_t(probability: f64, freedom: f64) -> f64 {
    if !(0.0..=1.0).contains(&probability) || freedom.is_nan() || freedom <= 0.0 {
        return f64::NAN;
    }
    if probability == 0.0 {
        return f64::INFINITY;
    }
    let (mut low, mut high) = (0.0, 1.0);
    while two_sided_probability(high, freedom) > probability && high < 1e12 {
        (low, high) = (high, high * 2.0);
    }
    // Sixty halvings exhaust the digits.
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if two_sided_probability(middle, freedom) > probability {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// Where the next value drawn from a population will lie, to either side of the mean of `count` seen.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PredictionInterval {
    /// Values that the mean is of.
    pub count: usize,
    /// Degrees of freedom of the standard deviation.
    pub freedom: f64,
    /// Probability of lying inside.
    pub coverage: f64,
}

impl PredictionInterval {
    /// Half the width, in the unit of `deviation`: t · s · √(1 + 1/n). NaN where it does not exist.
    ///
    /// G. J. Hahn, W. Q. Meeker, *Statistical Intervals*, 1991, section 4.7 (named from memory).
    #[must_use]
    pub fn half_width(&self, deviation: f64) -> f64 {
        let next = (1.0 + 1.0 / self.count as f64).sqrt();
        critical_t(1.0 - self.coverage, self.freedom) * deviation * next
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantile_and_probability_undo_each_other() {
        for freedom in [1.0, 3.5, 9.0, 1e4, 1e9] {
            for probability in [0.5, 0.05, 1e-4, 1e-9] {
                let back = two_sided_probability(critical_t(probability, freedom), freedom);
                assert!((back / probability - 1.0).abs() < 1e-6, "{freedom} {probability} {back}");
            }
        }
        assert!(critical_t(0.05, 0.0).is_nan() && critical_t(-1.0, 3.0).is_nan());
    }
}
