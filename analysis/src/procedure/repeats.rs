//! Repeated readings of one thing: mean, spread, and how surely the mean is known.

use serde::{Deserialize, Serialize};

use crate::propagation::effective_degrees_of_freedom;

/// What repeats of one measurement say together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Repeats {
    /// How many there are.
    pub count: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation s, with n − 1; `None` for a single one.
    pub spread: Option<f64>,
}

impl Repeats {
    /// Mean and spread of `values`; `None` when there are none.
    #[must_use]
    pub fn of(values: &[f64]) -> Option<Self> {
        let count = values.len();
        if count == 0 {
            return None;
        }
        let mean = values.iter().sum::<f64>() / count as f64;
        let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
        let spread = (count > 1).then(|| (squares / (count - 1) as f64).sqrt());
        Some(Self { count, mean, spread })
    }

    /// Standard uncertainty of the mean, s/√n (JCGM 100:2008, 4.2.3); `None` for a single one.
    #[must_use]
    pub fn mean_uncertainty(&self) -> Option<f64> {
        self.spread.map(|spread| spread / (self.count as f64).sqrt())
    }
}

/// Degrees of freedom of a `combined` uncertainty of which the `random` part, known with `degrees`, is one and the
/// rest counts as known for certain. `None` stands for as many as one likes.
pub(super) fn effective_degrees(combined: f64, random: f64, degrees: usize) -> Option<f64> {
    let certain = (combined * combined - random * random).max(0.0).sqrt();
    (degrees > 0).then(|| effective_degrees_of_freedom(&[(random, Some(degrees as f64)), (certain, None)]))?
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_reading_has_a_mean_but_no_spread() {
        let single = Repeats::of(&[300.0]).unwrap();
        assert_eq!((single.mean, single.spread, single.mean_uncertainty()), (300.0, None, None));
        assert_eq!(Repeats::of(&[]), None);
    }

    #[test]
    fn a_part_known_for_certain_raises_the_degrees_of_freedom() {
        // JCGM 100:2008 G.4.1 with u 0.57 of 9 degrees beside u 0.25 known for certain: 12.8.
        let combined = 0.57_f64.hypot(0.25);
        let effective = effective_degrees(combined, 0.57, 9).unwrap();
        assert!((effective - 12.795_649_034).abs() < 1e-8, "{effective}");
        assert_eq!(effective_degrees(1.0, 0.0, 2), None);
    }
}
