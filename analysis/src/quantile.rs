//! The value below which a share of numbers lies.

/// The value below which the share `share` (0 to 1) of `values` lies; `None` of no values. Reorders them.
#[must_use]
pub(crate) fn quantile(values: &mut [f32], share: f64) -> Option<f32> {
    let last = values.len().checked_sub(1)?;
    let index = ((last as f64 * share).round() as usize).min(last);
    Some(*values.select_nth_unstable_by(index, f32::total_cmp).1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantile_of_nothing_is_nothing() {
        assert_eq!(quantile(&mut [], 0.5), None);
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 1.0), Some(3.0));
    }
}
