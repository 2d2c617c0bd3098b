//! One place's temperature by drawing its inputs, as JCGM 101:2008 does: no linearity is assumed, and the
//! distribution itself is seen.

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};

use super::budget::TemperaturePlace;
use super::inputs::InputUncertainty;
use super::skewed::LEAST_EMISSIVITY;
use crate::propagation::Interval;
use crate::radiometry::{BandTable, NoPhysicalAnswer};

/// Bars of the histogram.
const BARS: usize = 60;

/// What the draws gave.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Draws that had a physical answer.
    pub count: usize,
    /// Draws that had none.
    pub without_answer: usize,
    /// Their mean, K.
    pub mean: f64,
    /// Their standard deviation, K.
    pub deviation: f64,
    /// The probabilistically symmetric 95 % interval, K.
    pub interval: Interval,
    /// The middle of each bar, K, and the draws in it; from the 0.1 % to the 99.9 % quantile.
    pub histogram: Vec<(f64, usize)>,
    /// Whether the first-order interval is validated: both its ends lie within the numerical tolerance of
    /// two significant digits of the standard uncertainty (JCGM 101:2008, clause 8), and twice what the ends
    /// of so many draws scatter by.
    pub first_order_holds: bool,
}

/// Draws `trials` temperatures of a place. The same `seed` gives the same draws.
///
/// Noise, calibration, drift, reflected temperature and path are normal; transmittance is cut off at 1
/// and the emissivity at 0.01 and 1, draws beyond being drawn again.
///
/// # Errors
/// [`NoPhysicalAnswer`] where the place itself has none.
pub fn draw_temperatures(
    place: &TemperaturePlace,
    inputs: &InputUncertainty,
    trials: usize,
    seed: u64,
) -> Result<Drawn, NoPhysicalAnswer> {
    let (apparent, _) = place.sensitivity()?;
    let budget = place.budget(inputs)?;
    let table = BandTable::new(place.band);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut normal = move || -> f64 { StandardNormal.sample(&mut random) };
    let camera = inputs.calibration.at(apparent.value()).hypot(inputs.drift.value());
    let camera = camera.hypot(place.netd.value() / place.pixels.max(1.0).sqrt());
    let surroundings = place.surroundings;
    let radiance = |kelvin: f64| f64::from(table.radiance(kelvin as f32));
    let mut temperatures = Vec::with_capacity(trials);
    for _ in 0..trials {
        let arriving = radiance(apparent.value() + camera * normal());
        let reflected = radiance(surroundings.reflected.value() + inputs.reflected.value() * normal());
        let path = radiance(surroundings.path.value() + inputs.path.value() * normal());
        let transmittance =
            within(&mut normal, surroundings.transmittance.value(), inputs.transmittance, LEAST_EMISSIVITY);
        let emissivity =
            within(&mut normal, place.emissivity.value(), place.emissivity_uncertainty, LEAST_EMISSIVITY);
        let background = transmittance * reflected + (1.0 - transmittance) * path;
        let surface = reflected + (arriving - background) / (transmittance * emissivity);
        let temperature = table.temperature(surface as f32);
        if !temperature.is_nan() {
            temperatures.push(f64::from(temperature));
        }
    }
    if temperatures.len() < 2 {
        return Err(NoPhysicalAnswer { radiance: f64::NAN });
    }
    let without_answer = trials - temperatures.len();
    temperatures.sort_unstable_by(f64::total_cmp);
    let count = temperatures.len();
    let mean = temperatures.iter().sum::<f64>() / count as f64;
    let variance = temperatures.iter().map(|t| (t - mean).powi(2)).sum::<f64>() / (count - 1) as f64;
    let quantile = |fraction: f64| temperatures[((count - 1) as f64 * fraction).round() as usize];
    let interval = Interval { low: quantile(0.025), high: quantile(0.975) };
    let temperature = place.temperature.value();
    let uncertainty = budget.combined.value();
    let tolerance = numerical_tolerance(uncertainty) + 2.0 * scatter_of_an_end(count) * uncertainty;
    let first_order_holds = without_answer == 0
        && (temperature - budget.expanded() - interval.low).abs() <= tolerance
        && (temperature + budget.expanded() - interval.high).abs() <= tolerance;
    Ok(Drawn {
        count,
        without_answer,
        mean,
        deviation: variance.sqrt(),
        interval,
        histogram: histogram(&temperatures, quantile(0.001), quantile(0.999)),
        first_order_holds,
    })
}

/// A normal draw about `value`, drawn again while it lies beyond `least` or 1; after a hundred tries the
/// value itself, which no sensible uncertainty comes to.
fn within(normal: &mut impl FnMut() -> f64, value: f64, uncertainty: f64, least: f64) -> f64 {
    for _ in 0..100 {
        let drawn = value + uncertainty * normal();
        if (least..=1.0).contains(&drawn) {
            return drawn;
        }
    }
    value
}

/// The standard error of the 2.5 % or 97.5 % quantile of normal draws, in their standard deviation:
/// √(p (1 − p)/n) / φ(1.96), φ the normal density.
fn scatter_of_an_end(count: usize) -> f64 {
    const PROBABILITY: f64 = 0.025;
    const DENSITY: f64 = 0.058_45;
    (PROBABILITY * (1.0 - PROBABILITY) / count as f64).sqrt() / DENSITY
}

/// Half of the last of two significant digits (JCGM 101:2008, 7.9.2).
fn numerical_tolerance(uncertainty: f64) -> f64 {
    if uncertainty <= 0.0 {
        return 0.0;
    }
    let unit = 10_f64.powf(uncertainty.log10().floor() - 1.0);
    // 9.96 has the two digits 10 of the next power.
    let unit = if (uncertainty / unit).round() >= 100.0 { 10.0 * unit } else { unit };
    0.5 * unit
}

fn histogram(sorted: &[f64], low: f64, high: f64) -> Vec<(f64, usize)> {
    let width = ((high - low) / BARS as f64).max(f64::MIN_POSITIVE);
    let mut bars: Vec<_> = (0..BARS).map(|bar| (low + (bar as f64 + 0.5) * width, 0)).collect();
    for value in sorted {
        let place = (value - low) / width;
        if place >= 0.0
            && let Some(bar) = bars.get_mut(place as usize)
        {
            bar.1 += 1;
        }
    }
    bars
}
