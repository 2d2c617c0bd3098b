//! When something happens in a series: a threshold passed for good, or a set time reached.

/// Which way a threshold is passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Crossing {
    /// From below to above.
    Above,
    /// From above to below.
    Below,
}

/// What sets a trigger off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Trigger {
    /// A value beyond a threshold.
    Threshold {
        /// Which side sets it off.
        crossing: Crossing,
        /// The threshold, in the series' unit. On it counts as not yet beyond.
        threshold: f64,
        /// How far the value must come back behind the threshold before it can set the trigger off again.
        hysteresis: f64,
        /// How long it must stay beyond before it counts, s.
        hold_s: f64,
    },
    /// A time, s.
    At(f64),
}

/// A trigger set off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Triggered {
    /// When the condition began, s: the first sample beyond the threshold, or the set time's first sample.
    pub began_s: f64,
    /// When it had held long enough, s.
    pub confirmed_s: f64,
    /// The index of the sample that confirmed it.
    pub sample: usize,
    /// The value of that sample; NaN where a set time meets an invalid one.
    pub value: f64,
}

/// Every time the series sets the trigger off. `times_s` rises; a value that is not finite neither
/// confirms nor ends anything.
#[must_use]
pub fn find_triggers(times_s: &[f64], values: &[f64], trigger: Trigger) -> Vec<Triggered> {
    let samples = || times_s.iter().copied().zip(values.iter().copied()).enumerate();
    match trigger {
        Trigger::At(set_s) => samples()
            .find(|(_, (time, _))| *time >= set_s)
            .map(|(sample, (time, value))| Triggered { began_s: time, confirmed_s: time, sample, value })
            .into_iter()
            .collect(),
        Trigger::Threshold { crossing, threshold, hysteresis, hold_s } => {
            let beyond = |value: f64| match crossing {
                Crossing::Above => value - threshold,
                Crossing::Below => threshold - value,
            };
            let mut found = Vec::new();
            let (mut began, mut armed) = (None, true);
            for (sample, (time, value)) in samples().filter(|(_, (_, value))| value.is_finite()) {
                let depth = beyond(value);
                if depth <= 0.0 {
                    began = None;
                    armed |= depth <= -hysteresis.max(0.0);
                    continue;
                }
                let began_s = *began.get_or_insert(time);
                if armed && time - began_s >= hold_s {
                    found.push(Triggered { began_s, confirmed_s: time, sample, value });
                    armed = false;
                }
            }
            found
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seconds(count: usize) -> Vec<f64> {
        (0..count).map(|n| n as f64).collect()
    }

    #[test]
    fn a_threshold_sets_off_once_until_the_value_has_come_back_far_enough() {
        let values = [300.0, 331.0, 329.5, 331.0, 327.9, 332.0, 300.0];
        let trigger =
            Trigger::Threshold { crossing: Crossing::Above, threshold: 330.0, hysteresis: 2.0, hold_s: 0.0 };
        let found = find_triggers(&seconds(7), &values, trigger);
        assert_eq!(found.iter().map(|event| event.sample).collect::<Vec<_>>(), [1, 5]);
        let below =
            Trigger::Threshold { crossing: Crossing::Below, threshold: 330.0, hysteresis: 0.0, hold_s: 0.0 };
        let found = find_triggers(&seconds(7), &values, below);
        assert_eq!(found.iter().map(|event| event.sample).collect::<Vec<_>>(), [0, 2, 4, 6]);
    }

    #[test]
    fn what_does_not_last_does_not_count() {
        let values = [0.0, 2.0, 2.0, 0.0, 2.0, f64::NAN, 2.0, 2.0, 2.0];
        let trigger =
            Trigger::Threshold { crossing: Crossing::Above, threshold: 1.0, hysteresis: 0.0, hold_s: 3.0 };
        let found = find_triggers(&seconds(9), &values, trigger);
        assert_eq!(found, [Triggered { began_s: 4.0, confirmed_s: 7.0, sample: 7, value: 2.0 }]);
    }

    #[test]
    fn a_set_time_is_met_by_the_first_sample_from_it_on() {
        let found = find_triggers(&seconds(5), &[1.0; 5], Trigger::At(2.5));
        assert_eq!(found, [Triggered { began_s: 3.0, confirmed_s: 3.0, sample: 3, value: 1.0 }]);
        assert!(find_triggers(&seconds(5), &[1.0; 5], Trigger::At(9.0)).is_empty());
    }
}
