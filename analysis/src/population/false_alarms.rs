//! How often a healthy board may be called sick, and what follows for the thresholds.

use serde::{Deserialize, Serialize};

/// What the person allows, as a rate: the expected share of good boards with a false finding.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FalseAlarms {
    /// Good boards of a hundred that may be called different by chance.
    pub per_hundred_good_boards: f64,
    /// Differences below this are of no interest however sure they are, K.
    pub least_difference: f64,
}

impl Default for FalseAlarms {
    fn default() -> Self {
        Self { per_hundred_good_boards: 5.0, least_difference: 0.5 }
    }
}

impl FalseAlarms {
    /// The probability for one board, kept between one in a million and one half.
    #[must_use]
    pub fn probability(self) -> f64 {
        let share = self.per_hundred_good_boards / 100.0;
        if share.is_nan() { Self::default().probability() } else { share.clamp(1e-6, 0.5) }
    }
}

/// Which hypotheses are rejected so that the expected share of wrong ones among them stays below `rate`.
///
/// With no true effect anywhere, every rejection is wrong: then `rate` bounds the probability of any.
/// Holds for independent and positively dependent tests. NaN is never rejected and does not count.
///
/// # Source
/// Y. Benjamini, Y. Hochberg, J. R. Statist. Soc. B 57 (1995) 289–300.
#[must_use]
pub fn benjamini_hochberg(probabilities: &[f64], rate: f64) -> Vec<bool> {
    let mut sorted: Vec<f64> = probabilities.iter().copied().filter(|p| !p.is_nan()).collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let tests = sorted.len() as f64;
    let limit = sorted
        .iter()
        .zip(1_u32..)
        .filter(|(p, rank)| **p <= f64::from(*rank) / tests * rate)
        .map(|(p, _)| *p)
        .last();
    probabilities.iter().map(|p| limit.is_some_and(|limit| *p <= limit)).collect()
}

/// How many independent places would make the extremes that the good boards show.
///
/// Many places are tested and neighbours agree, so their number says little. If `count` independent
/// places make the smallest probability p of a healthy board, then −ln(1 − p) · count is exponential
/// with mean 1; `count` is estimated by maximum likelihood from the smallest probabilities that each
/// good board shows against the others.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Extremes {
    /// The number of independent places.
    pub count: f64,
    /// How many boards it rests on; its relative standard uncertainty is one over the root.
    pub boards: usize,
}

impl Extremes {
    /// Learns from the smallest probability of each good board; `places` stands in without any.
    #[must_use]
    pub fn learn(smallest: &[f64], places: usize) -> Self {
        let valid: Vec<f64> = smallest.iter().copied().filter(|p| *p > 0.0 && *p < 1.0).collect();
        if valid.is_empty() {
            return Self { count: places.max(1) as f64, boards: 0 };
        }
        let sum: f64 = valid.iter().map(|p| -(-p).ln_1p()).sum();
        Self { count: (valid.len() as f64 / sum).max(1.0), boards: valid.len() }
    }

    /// What the number may well be, one standard uncertainty above: thresholds use this, since few boards
    /// tell it poorly and too low a number makes false alarms.
    #[must_use]
    pub fn cautious(&self) -> Self {
        let further = if self.boards > 0 { 1.0 / (self.boards as f64).sqrt() } else { 0.0 };
        Self { count: self.count * (1.0 + further), ..*self }
    }

    /// The probability at one place that makes `board` the probability of any on a good board.
    #[must_use]
    pub fn place_probability(&self, board: f64) -> f64 {
        -((-board).ln_1p() / self.count).exp_m1()
    }

    /// The probability that a good board shows anything as small as `place` somewhere.
    #[must_use]
    pub fn board_probability(&self, place: f64) -> f64 {
        -((-place).ln_1p() * self.count).exp_m1()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_number_of_places_comes_back_from_their_extremes() {
        // Medians of the smallest of 1000: quantiles of the law itself, not a drawn sample.
        let true_count = 1000.0;
        let smallest: Vec<f64> =
            (0..200).map(|i| 1.0 - (1.0 - (f64::from(i) + 0.5) / 200.0_f64).powf(1.0 / true_count)).collect();
        let learned = Extremes::learn(&smallest, 5);
        assert!((learned.count / true_count - 1.0).abs() < 0.02, "{learned:?}");
        let place = learned.place_probability(0.05);
        assert!((learned.board_probability(place) - 0.05).abs() < 1e-12);
        assert!((Extremes::learn(&[], 7).count - 7.0).abs() < 1e-12);
    }

    #[test]
    fn invalid_tests_are_neither_rejected_nor_counted() {
        // 0.03 passes 1/1 · 0.05 alone, and would fail 1/2 · 0.05 if the invalid one counted.
        assert_eq!(benjamini_hochberg(&[f64::NAN, 0.03], 0.05), [false, true]);
    }
}
