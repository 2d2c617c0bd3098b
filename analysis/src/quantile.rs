//! The value below which a share of numbers lies.

use std::cmp::Ordering;

/// A floating-point number, in its total order.
pub(crate) trait Number: Copy {
    fn order(&self, other: &Self) -> Ordering;
    fn is_nan(self) -> bool;
}

impl Number for f32 {
    fn order(&self, other: &Self) -> Ordering {
        self.total_cmp(other)
    }

    fn is_nan(self) -> bool {
        self.is_nan()
    }
}

impl Number for f64 {
    fn order(&self, other: &Self) -> Ordering {
        self.total_cmp(other)
    }

    fn is_nan(self) -> bool {
        self.is_nan()
    }
}

/// The value below which the share `share` (0 to 1) of `values` lies; `None` of no values. Reorders them.
#[must_use]
pub(crate) fn quantile<T: Number>(values: &mut [T], share: f64) -> Option<T> {
    let last = values.len().checked_sub(1)?;
    let index = ((last as f64 * share).round() as usize).min(last);
    Some(*values.select_nth_unstable_by(index, T::order).1)
}

/// The median of those that are numbers, of an even count the upper of the two in the middle; `None` of none.
#[must_use]
pub(crate) fn median<T: Number>(values: impl IntoIterator<Item = T>) -> Option<T> {
    let mut valid: Vec<T> = values.into_iter().filter(|value| !value.is_nan()).collect();
    quantile(&mut valid, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_of_nothing_is_nothing() {
        assert_eq!(quantile::<f32>(&mut [], 0.5), None);
        assert_eq!(median([f64::NAN]), None);
        assert_eq!(median([4.0, f64::NAN, 1.0, 3.0, 2.0]), Some(3.0));
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 1.0), Some(3.0));
    }
}
