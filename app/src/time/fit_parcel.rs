//! Fits as they travel: JSON has no sign for infinity, so a bound that the data do not set is left out.

use analysis::geometry::Point;
use analysis::sequence::{Decay, Drift, LockInSettings, PointSource, Reference, WarmUp};
use serde::{Deserialize, Serialize};

/// A [`WarmUp`] for travelling.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FitParcel {
    start_s: f64,
    steady: f64,
    steady_uncertainty: Option<f64>,
    steady_interval: [Option<f64>; 2],
    decays: Vec<[Option<f64>; 4]>,
    noise: f64,
    correlation: f64,
    samples: usize,
}

fn finite(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

impl From<&WarmUp> for FitParcel {
    fn from(fit: &WarmUp) -> Self {
        let decay = |decay: &Decay| {
            [decay.rise, decay.rise_uncertainty, decay.time_constant_s, decay.time_constant_uncertainty_s]
                .map(finite)
        };
        Self {
            start_s: fit.start_s,
            steady: fit.steady,
            steady_uncertainty: finite(fit.steady_uncertainty),
            steady_interval: fit.steady_interval.map(finite),
            decays: fit.decays.iter().map(decay).collect(),
            noise: fit.noise,
            correlation: fit.correlation,
            samples: fit.samples,
        }
    }
}

impl From<FitParcel> for WarmUp {
    fn from(parcel: FitParcel) -> Self {
        let or_infinite = |value: Option<f64>| value.unwrap_or(f64::INFINITY);
        let decay = |[rise, rise_uncertainty, constant, constant_uncertainty]: [Option<f64>; 4]| Decay {
            rise: or_infinite(rise),
            rise_uncertainty: or_infinite(rise_uncertainty),
            time_constant_s: or_infinite(constant),
            time_constant_uncertainty_s: or_infinite(constant_uncertainty),
        };
        let [low, high] = parcel.steady_interval;
        Self {
            start_s: parcel.start_s,
            steady: parcel.steady,
            steady_uncertainty: or_infinite(parcel.steady_uncertainty),
            steady_interval: [low.unwrap_or(f64::NEG_INFINITY), or_infinite(high)],
            decays: parcel.decays.into_iter().map(decay).collect(),
            noise: parcel.noise,
            correlation: parcel.correlation,
            samples: parcel.samples,
        }
    }
}

/// What a lock-in is asked for: [`LockInSettings`] for travelling, and whether to look for the source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LockInAsk {
    /// Of the reference, Hz.
    pub frequency_hz: f64,
    /// When the reference passes zero rising, s.
    pub zero_s: f64,
    /// Multiples of the frequency.
    pub harmonics: usize,
    /// Powers of time in the drift: 0, 1 or 2.
    pub drift: u8,
}

impl From<LockInAsk> for LockInSettings {
    fn from(ask: LockInAsk) -> Self {
        Self {
            reference: Reference { frequency_hz: ask.frequency_hz, zero_s: ask.zero_s },
            harmonics: ask.harmonics,
            drift: match ask.drift {
                0 => Drift::Constant,
                1 => Drift::Linear,
                _ => Drift::Quadratic,
            },
        }
    }
}

/// A [`PointSource`] for travelling.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SourceParcel {
    x: f64,
    y: f64,
    covariance: [f64; 3],
    amplitude: f64,
    amplitude_uncertainty: f64,
    lag: f64,
    lag_uncertainty: f64,
    width: f64,
}

impl SourceParcel {
    /// `None` for a source of which not everything is known.
    #[must_use]
    pub fn of(source: &PointSource) -> Option<Self> {
        let numbers = [source.amplitude_uncertainty, source.lag_uncertainty, source.width];
        let known = numbers.iter().chain(&source.covariance).all(|number| number.is_finite());
        known.then_some(Self {
            x: source.at.x,
            y: source.at.y,
            covariance: source.covariance,
            amplitude: source.amplitude,
            amplitude_uncertainty: source.amplitude_uncertainty,
            lag: source.lag,
            lag_uncertainty: source.lag_uncertainty,
            width: source.width,
        })
    }
}

impl From<SourceParcel> for PointSource {
    fn from(parcel: SourceParcel) -> Self {
        Self {
            at: Point::new(parcel.x, parcel.y),
            covariance: parcel.covariance,
            amplitude: parcel.amplitude,
            amplitude_uncertainty: parcel.amplitude_uncertainty,
            lag: parcel.lag,
            lag_uncertainty: parcel.lag_uncertainty,
            width: parcel.width,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_warm_up_without_upper_bound_arrives_as_it_was() {
        let decay = Decay {
            rise: 20.0,
            rise_uncertainty: 1.0,
            time_constant_s: 90.0,
            time_constant_uncertainty_s: f64::INFINITY,
        };
        let fit = WarmUp {
            start_s: 5.0,
            steady: 330.0,
            steady_uncertainty: f64::INFINITY,
            steady_interval: [325.0, f64::INFINITY],
            decays: vec![decay],
            noise: 0.05,
            correlation: 0.0,
            samples: 60,
        };
        let text = serde_json::to_string(&FitParcel::from(&fit)).unwrap();
        let back: FitParcel = serde_json::from_str(&text).unwrap();
        assert_eq!(WarmUp::from(back), fit);
    }
}
