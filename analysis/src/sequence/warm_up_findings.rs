//! Which parts of a unit warm up otherwise than those of the baseline, beyond what the fits leave open.
//!
//! # The rule
//! Two numbers of each part are compared, the slow time constant and the predicted steady state:
//!
//! - Time constants by their logarithms, t = (ln τ_unit − ln τ_baseline) / √(u²_unit + u²_baseline + u²_spread),
//!   u the relative standard uncertainties.
//! - Steady states by t = (T_unit − T_baseline − offset) / √(u²_unit + u²_baseline + u²_spread), where u is the
//!   half of the 95 % interval on the side that faces the other value, divided by its coverage factor:
//!   while a warm-up is young the interval is lopsided and the standard uncertainty too small.
//!
//! Each t has the degrees of freedom of Welch and Satterthwaite and so a two-sided probability. A board with
//! many parts has many such tests: by Holm's step-down correction over all tests of the board the chance that a
//! board like the baseline has any finding at all stays below the one that is allowed, however the tests
//! depend on each other. What passes must also be as large as the person cares about.
//!
//! A fit without a bounded interval, or one with another number of decays than its counterpart, decides
//! nothing; such comparisons are listed and not counted.
//!
//! # Source
//! S. Holm, *A simple sequentially rejective multiple test procedure*, Scand. J. Statist. 6 (1979) 65–70, from
//! memory; JCGM 100:2008, annex G, for degrees of freedom. The lopsided uncertainty is our own choice.

use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use super::warm_up::WarmUp;
use crate::propagation::{combined, coverage_factor, effective_degrees_of_freedom};

/// The two fits of one part. [`fit_alike`](super::fit_alike) makes pairs that can be compared.
#[derive(Debug, Clone, PartialEq)]
pub struct PartWarmUps {
    /// The part's reference designator.
    pub designator: String,
    /// Of the unit under test, in kelvin.
    pub unit: WarmUp,
    /// Of the baseline, in kelvin.
    pub baseline: WarmUp,
}

/// What counts as different.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarmUpCriteria {
    /// The chance, from 0 to 1, that a board like the baseline may have any finding.
    pub chance: f64,
    /// Steady states that differ by less are of no interest, K.
    pub least_steady_k: f64,
    /// Time constants that differ by less than this fraction are of no interest.
    pub least_time_constant: f64,
    /// How much warmer the unit's surroundings were than the baseline's, K.
    pub offset_k: f64,
    /// Standard uncertainty of a steady state's difference from all else than the fits, K: surroundings,
    /// supply, emissivity, and what good boards differ by.
    pub steady_spread_k: f64,
    /// The same of a time constant, as a fraction of it.
    pub time_constant_spread: f64,
}

impl Default for WarmUpCriteria {
    /// One board of twenty by chance; half a kelvin, a twentieth; nothing beside the fits.
    fn default() -> Self {
        Self {
            chance: 0.05,
            least_steady_k: 0.5,
            least_time_constant: 0.05,
            offset_k: 0.0,
            steady_spread_k: 0.0,
            time_constant_spread: 0.0,
        }
    }
}

/// What of a warm-up was compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WarmUpQuantity {
    /// The slow time constant, s.
    TimeConstant,
    /// The predicted steady state, K.
    SteadyState,
}

/// A part that warms up otherwise than the baseline's.
#[derive(Debug, Clone, PartialEq)]
pub struct WarmUpFinding {
    /// The part's reference designator.
    pub designator: String,
    /// What differs.
    pub quantity: WarmUpQuantity,
    /// The unit's value, s or K.
    pub unit: f64,
    /// The baseline's value, s or K.
    pub baseline: f64,
    /// Unit less baseline, s or K; of steady states less the offset of the surroundings.
    pub difference: f64,
    /// Standard uncertainty of the difference, s or K.
    pub uncertainty: f64,
    /// The chance of such a difference somewhere on a board like the baseline: corrected by Holm.
    pub probability: f64,
}

/// A comparison that the fits leave open.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenComparison {
    /// The part's reference designator.
    pub designator: String,
    /// What cannot be compared.
    pub quantity: WarmUpQuantity,
    /// Why.
    pub reason: OpenReason,
}

/// Why fits cannot be compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum OpenReason {
    /// One has one decay and the other two.
    #[error("one of the warm-ups shows one time constant and the other two: fit both alike")]
    OtherModel,
    /// The warm-up was too short.
    #[error("too little of the warm-up has been seen to tell this value: record a longer part of it")]
    Unbounded,
}

/// All that the comparison of two warm-ups yields.
#[derive(Debug, Clone, PartialEq)]
pub struct WarmUpComparison {
    /// What differs, the least probable first.
    pub findings: Vec<WarmUpFinding>,
    /// What could not be compared.
    pub open: Vec<OpenComparison>,
    /// How many comparisons were made.
    pub tested: usize,
}

/// Names the parts whose warm-up differs from the baseline's, by the rule at the head of this module.
#[must_use]
pub fn compare_warm_ups(parts: &[PartWarmUps], criteria: &WarmUpCriteria) -> WarmUpComparison {
    let (mut tests, mut open) = (Vec::<(String, WarmUpQuantity, Test)>::new(), Vec::new());
    for part in parts {
        for quantity in [WarmUpQuantity::TimeConstant, WarmUpQuantity::SteadyState] {
            let outcome = match quantity {
                WarmUpQuantity::TimeConstant => time_constants(part, criteria),
                WarmUpQuantity::SteadyState => steady_states(part, criteria),
            };
            let designator = part.designator.clone();
            match outcome {
                Ok(test) => tests.push((designator, quantity, test)),
                Err(reason) => open.push(OpenComparison { designator, quantity, reason }),
            }
        }
    }
    let probabilities: Vec<f64> = tests.iter().map(|(_, _, test)| test.probability).collect();
    let tested = tests.len();
    let mut findings: Vec<WarmUpFinding> = tests
        .into_iter()
        .zip(holm(&probabilities))
        .filter(|((_, _, test), probability)| test.matters && *probability <= criteria.chance)
        .map(|((designator, quantity, test), probability)| {
            let Test { unit, baseline, difference, uncertainty, .. } = test;
            WarmUpFinding { designator, quantity, unit, baseline, difference, uncertainty, probability }
        })
        .collect();
    findings.sort_by(|a, b| a.probability.total_cmp(&b.probability));
    WarmUpComparison { findings, open, tested }
}

/// Probabilities corrected for their number: the smallest times the number of them, the next times one
/// less, and so on, never falling and at most 1.
fn holm(probabilities: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..probabilities.len()).collect();
    order.sort_by(|a, b| probabilities[*a].total_cmp(&probabilities[*b]));
    let mut corrected = vec![1.0; probabilities.len()];
    let mut least = 0.0_f64;
    for (rank, index) in order.into_iter().enumerate() {
        least = least.max(probabilities[index] * (probabilities.len() - rank) as f64).min(1.0);
        corrected[index] = least;
    }
    corrected
}

struct Test {
    unit: f64,
    baseline: f64,
    difference: f64,
    uncertainty: f64,
    probability: f64,
    matters: bool,
}

fn time_constants(part: &PartWarmUps, criteria: &WarmUpCriteria) -> Result<Test, OpenReason> {
    let (unit, baseline) = (&part.unit, &part.baseline);
    if unit.decays.len() != baseline.decays.len() {
        return Err(OpenReason::OtherModel);
    }
    let slow = |fit: &WarmUp| fit.decays.first().copied().ok_or(OpenReason::OtherModel);
    let (own, other) = (slow(unit)?, slow(baseline)?);
    let [relative, other_relative] =
        [own, other].map(|decay| decay.time_constant_uncertainty_s / decay.time_constant_s);
    let departure = (own.time_constant_s / other.time_constant_s).ln();
    let parts = [
        (relative, Some(freedom(unit))),
        (other_relative, Some(freedom(baseline))),
        (criteria.time_constant_spread, None),
    ];
    let (uncertainty, probability) = judge(departure, &parts)?;
    Ok(Test {
        unit: own.time_constant_s,
        baseline: other.time_constant_s,
        difference: own.time_constant_s - other.time_constant_s,
        // Of τ_unit − τ_baseline, to first order.
        uncertainty: uncertainty * f64::midpoint(own.time_constant_s, other.time_constant_s),
        probability,
        matters: departure.exp_m1().abs() >= criteria.least_time_constant,
    })
}

fn steady_states(part: &PartWarmUps, criteria: &WarmUpCriteria) -> Result<Test, OpenReason> {
    let (unit, baseline) = (&part.unit, &part.baseline);
    if unit.decays.len() != baseline.decays.len() {
        return Err(OpenReason::OtherModel);
    }
    let difference = unit.steady - baseline.steady - criteria.offset_k;
    // The sides that face each other.
    let (side, other_side) = if difference > 0.0 { (0, 1) } else { (1, 0) };
    let facing = |fit: &WarmUp, side: usize| -> Result<f64, OpenReason> {
        let factor = coverage_factor(0.95, Some(freedom(fit))).ok_or(OpenReason::Unbounded)?;
        Ok((fit.steady_interval[side] - fit.steady).abs() / factor)
    };
    let parts = [
        (facing(unit, side)?, Some(freedom(unit))),
        (facing(baseline, other_side)?, Some(freedom(baseline))),
        (criteria.steady_spread_k, None),
    ];
    let (uncertainty, probability) = judge(difference, &parts)?;
    Ok(Test {
        unit: unit.steady,
        baseline: baseline.steady,
        difference,
        uncertainty,
        probability,
        matters: difference.abs() >= criteria.least_steady_k,
    })
}

/// Degrees of freedom of a fit's noise.
fn freedom(fit: &WarmUp) -> f64 {
    (fit.samples as f64 - (1 + 2 * fit.decays.len()) as f64).max(1.0)
}

/// The combined uncertainty, and the two-sided probability of a difference this large.
fn judge(difference: f64, parts: &[(f64, Option<f64>)]) -> Result<(f64, f64), OpenReason> {
    let uncertainty = combined(parts.iter().map(|(part, _)| *part));
    if !difference.is_finite() || !uncertainty.is_finite() || uncertainty <= 0.0 {
        return Err(OpenReason::Unbounded);
    }
    let beyond = -(difference / uncertainty).abs();
    let tail = match effective_degrees_of_freedom(parts) {
        Some(degrees) => StudentsT::new(0.0, 1.0, degrees).map(|law| law.cdf(beyond)).ok(),
        None => Some(Normal::standard().cdf(beyond)),
    };
    tail.map(|tail| (uncertainty, 2.0 * tail)).ok_or(OpenReason::Unbounded)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sequence::warm_up::Decay;

    /// A fit so well known that t has the normal law to a percent: 10 000 samples.
    fn fit(steady: f64, half_width: [f64; 2], time_constant_s: f64, relative: f64) -> WarmUp {
        let decay = Decay {
            rise: 20.0,
            rise_uncertainty: 0.1,
            time_constant_s,
            time_constant_uncertainty_s: relative * time_constant_s,
        };
        WarmUp {
            start_s: 0.0,
            steady,
            steady_uncertainty: half_width[0] / 1.96,
            steady_interval: [steady - half_width[0], steady + half_width[1]],
            decays: vec![decay],
            noise: 0.05,
            correlation: 0.0,
            samples: 10_000,
        }
    }

    fn part(designator: &str, unit: WarmUp, baseline: WarmUp) -> PartWarmUps {
        PartWarmUps { designator: designator.to_owned(), unit, baseline }
    }

    #[test]
    fn the_correction_rejects_as_many_as_statsmodels_does_of_a_published_list() {
        // Y. Benjamini, Y. Hochberg (1995), section 4; Holm's count at 0.05 by statsmodels.
        let list = [
            0.0201, 0.0001, 0.0019, 0.0095, 0.0004, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719,
            0.6528, 0.7590, 1.0,
        ];
        let corrected = holm(&list);
        assert_eq!(corrected.iter().filter(|p| **p <= 0.05).count(), 3);
        // 15 · 0.0001, 14 · 0.0004, 13 · 0.0019, 12 · 0.0095.
        for (index, expected) in [(1, 0.0015), (4, 0.0056), (2, 0.0247), (3, 0.114)] {
            assert!((corrected[index] - expected).abs() < 1e-12, "{corrected:?}");
        }
    }

    #[test]
    fn parts_are_named_by_the_corrected_probability_worked_by_hand() {
        // Four tests. U1: ln(1.2) / (√2 · 0.05) = 2.578: two-sided 0.00993, times 4 is 0.0397.
        // U2: 1.4 K / (√2 · 0.5 K) = 1.980: 0.0477, times 3 is 0.143. The two others are alike: 1.
        let alike = fit(330.0, [0.98, 0.98], 100.0, 0.05);
        let parts = [
            part("U1", fit(330.0, [0.98, 0.98], 120.0, 0.05), alike.clone()),
            part("U2", fit(331.4, [0.98, 0.98], 100.0, 0.05), alike),
        ];
        let found = compare_warm_ups(&parts, &WarmUpCriteria::default());
        assert_eq!((found.tested, found.findings.len(), found.open.len()), (4, 1, 0));
        let finding = &found.findings[0];
        assert_eq!((finding.designator.as_str(), finding.quantity), ("U1", WarmUpQuantity::TimeConstant));
        assert!((finding.probability - 0.0397).abs() < 3e-4, "{finding:?}");
        // With a fifth of all boards allowed both are named.
        let wide = WarmUpCriteria { chance: 0.2, ..WarmUpCriteria::default() };
        let found = compare_warm_ups(&parts, &wide);
        assert_eq!(found.findings.iter().map(|f| f.designator.as_str()).collect::<Vec<_>>(), ["U1", "U2"]);
        assert!((found.findings[1].probability - 0.143).abs() < 2e-3, "{found:?}");
        // Surroundings that were warmer by as much explain U2 away, and U1 lacks as much instead.
        let found = compare_warm_ups(&parts, &WarmUpCriteria { offset_k: 1.4, ..wide });
        assert_eq!(found.findings.iter().map(|f| f.designator.as_str()).collect::<Vec<_>>(), ["U1", "U1"]);
        assert!((found.findings[1].difference + 1.4).abs() < 1e-9, "{found:?}");
    }

    #[test]
    fn a_lopsided_interval_counts_with_the_side_that_faces_the_other_value() {
        // The unit may be up to 9 K hotter than predicted and hardly colder; the baseline is well known.
        let young = fit(330.0, [0.4, 9.0], 100.0, 0.05);
        let [below, above] = [327.0, 333.0].map(|steady| {
            let parts = [part("U1", young.clone(), fit(steady, [0.1, 0.1], 100.0, 0.05))];
            compare_warm_ups(&parts, &WarmUpCriteria::default()).findings.len()
        });
        assert_eq!((below, above), (1, 0));
    }

    #[test]
    fn what_is_not_known_is_left_open_and_small_differences_are_left_out() {
        let known = fit(330.0, [0.01, 0.01], 100.0, 0.001);
        let mut other_model = known.clone();
        other_model.decays.push(other_model.decays[0]);
        let parts = [
            part("U1", fit(330.0, [f64::INFINITY; 2], 150.0, f64::INFINITY), known.clone()),
            part("U2", other_model, known.clone()),
            part("U3", fit(330.3, [0.01, 0.01], 103.0, 0.001), known),
        ];
        let found = compare_warm_ups(&parts, &WarmUpCriteria::default());
        assert_eq!((found.findings.len(), found.open.len(), found.tested), (0, 4, 2));
        assert_eq!(found.open[0].reason, OpenReason::Unbounded);
        assert_eq!(found.open[2].reason, OpenReason::OtherModel);
    }
}
