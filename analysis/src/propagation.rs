//! How uncertainties of several inputs combine: the law of propagation, effective degrees of freedom, and
//! the factor that widens a standard uncertainty to an interval.
//!
//! # Source
//! JCGM 100:2008, *Guide to the expression of uncertainty in measurement*: clause 5 and annex G.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

/// The combined standard uncertainty of uncorrelated parts, each given in the unit of the result:
/// √Σ (cᵢ uᵢ)² (5.1.2).
#[must_use]
pub fn combined(parts: impl IntoIterator<Item = f64>) -> f64 {
    parts.into_iter().map(|part| part * part).sum::<f64>().sqrt()
}

/// The combined standard uncertainty of correlated inputs: √ΣΣ cᵢ cⱼ uᵢ uⱼ rᵢⱼ (5.2.2), where `parts` are
/// the signed cᵢ uᵢ and `correlation(i, j)` is rᵢⱼ for i ≠ j.
#[must_use]
pub fn combined_correlated(parts: &[f64], correlation: impl Fn(usize, usize) -> f64) -> f64 {
    let mut sum = 0.0;
    for (i, a) in parts.iter().enumerate() {
        for (j, b) in parts.iter().enumerate() {
            sum += a * b * if i == j { 1.0 } else { correlation(i, j) };
        }
    }
    // Rounding may leave a little less than nothing; an unknown part leaves all unknown.
    if sum < 0.0 { 0.0 } else { sum.sqrt() }
}

/// The effective degrees of freedom of a combined uncertainty (Welch–Satterthwaite, G.4.1): `parts` are
/// the cᵢ uᵢ with their degrees of freedom, `None` for as many as one likes. `None` when all are so.
#[must_use]
pub fn effective_degrees_of_freedom(parts: &[(f64, Option<f64>)]) -> Option<f64> {
    let whole = combined(parts.iter().map(|(part, _)| *part));
    let known = parts.iter().filter_map(|(part, degrees)| Some(part.powi(4) / (*degrees)?));
    let effective = whole.powi(4) / known.sum::<f64>();
    effective.is_finite().then_some(effective)
}

/// The factor that widens a standard uncertainty to an interval of this `confidence` (such as 0.95),
/// two-sided: the quantile of Student's t with `degrees` of freedom, or of the normal law where they are
/// `None` (annex G). `None` for a confidence outside 0 to 1 or degrees that are not above zero.
#[must_use]
pub fn coverage_factor(confidence: f64, degrees: Option<f64>) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let probability = 0.5 + confidence / 2.0;
    // Beyond a million the two laws agree to six digits, and the t quantile is searched for, not computed.
    match degrees.filter(|degrees| *degrees < 1e6) {
        Some(degrees) => StudentsT::new(0.0, 1.0, degrees).ok().map(|law| law.inverse_cdf(probability)),
        None => Normal::new(0.0, 1.0).ok().map(|law| law.inverse_cdf(probability)),
    }
}

/// An interval about a value, for those that are not symmetric.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
}
