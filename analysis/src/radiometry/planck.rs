//! Planck's law: what a black body radiates at one wavelength and within a band.
//!
//! In vacuum, unpolarised. Band integrals are the closed series of the black-body fraction, not a
//! quadrature, so they are as exact as `f64` allows:
//! ∫ₓ^∞ t³/(eᵗ − 1) dt = Σₙ e⁻ⁿˣ (x³/n + 3x²/n² + 6x/n³ + 6/n⁴), with x = c₂/(λT).

use crate::radiometry::Band;
use crate::units::{Kelvin, Micrometers};

/// The first radiation constant for spectral radiance, 2hc², in W·m⁻²·sr⁻¹·µm⁴.
///
/// From the exact h and c of the SI (SI Brochure, 9th edition, 2019), rounded to `f64`.
const FIRST_CONSTANT: f64 = 1.191_042_972_397_188_4e8;

/// The second radiation constant, c₂ = hc/k, in µm·K.
///
/// From the exact h, c and k of the SI (SI Brochure, 9th edition, 2019), rounded to `f64`.
pub const SECOND_CONSTANT: f64 = 14_387.768_775_039_338;

/// ∫₀^∞ t³/(eᵗ − 1) dt = π⁴/15.
const WHOLE_INTEGRAL: f64 = 6.493_939_402_266_829;

/// Below this argument the power series is the quicker one.
const SMALL_ARGUMENT: f64 = 0.5;

/// Spectral radiance of a black body, W·m⁻²·sr⁻¹·µm⁻¹.
///
/// L(λ, T) = 2hc² λ⁻⁵ / (exp(c₂/λT) − 1); 0 where the exponential overflows (λT below 20 µm·K).
///
/// # Accuracy
/// Relative error below 1e-11.
#[must_use]
pub fn spectral_radiance(wavelength: Micrometers, temperature: Kelvin) -> f64 {
    let wavelength = wavelength.value();
    FIRST_CONSTANT / (wavelength.powi(5) * (SECOND_CONSTANT / (wavelength * temperature.value())).exp_m1())
}

/// The fraction of a black body's radiance below `wavelength_temperature` = λT, µm·K: 0 to 1.
///
/// # Domain
/// 0 for arguments that are not above zero.
///
/// # Accuracy
/// Absolute error below 1e-13.
#[must_use]
pub fn band_fraction(wavelength_temperature: f64) -> f64 {
    if wavelength_temperature > 0.0 {
        integral(SECOND_CONSTANT / wavelength_temperature, f64::INFINITY) / WHOLE_INTEGRAL
    } else {
        0.0
    }
}

/// Radiance of a black body within a band, W·m⁻²·sr⁻¹, with its derivative by temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BandRadiance {
    /// W·m⁻²·sr⁻¹.
    pub radiance: f64,
    /// W·m⁻²·sr⁻¹·K⁻¹.
    pub slope: f64,
}

/// What a black body of this temperature radiates within `band`.
///
/// # Accuracy
/// Relative error below 1e-11 for bands at least 0.1 µm wide.
#[must_use]
pub fn band_radiance(band: Band, temperature: Kelvin) -> BandRadiance {
    band_radiance_at(band, temperature.value())
}

/// [`band_radiance`] for a bare number of kelvin, which must be above zero.
pub(super) fn band_radiance_at(band: Band, kelvin: f64) -> BandRadiance {
    let short = SECOND_CONSTANT / (band.lower().value() * kelvin);
    let long = SECOND_CONSTANT / (band.upper().value() * kelvin);
    let integral = integral(long, short);
    let cube = FIRST_CONSTANT * (kelvin / SECOND_CONSTANT).powi(3) / SECOND_CONSTANT;
    // By parts: the derivative needs the same integral and the integrand at both ends.
    BandRadiance {
        radiance: cube * kelvin * integral,
        slope: cube * (4.0 * integral + end_term(long) - end_term(short)),
    }
}

/// The temperature of the black body that radiates this much within `band`.
///
/// `None` when no black body between 1 K and 10 000 K does: radiance of zero, less, or far too much.
///
/// # Accuracy
/// Relative error below 1e-12 of the temperature.
#[must_use]
pub fn band_temperature(band: Band, radiance: f64) -> Option<Kelvin> {
    if !(radiance > f64::MIN_POSITIVE && radiance.is_finite()) {
        return None;
    }
    let target = radiance.ln();
    let (mut lowest, mut highest) = (1.0, 10_000.0);
    let mut kelvin = 300.0;
    for _ in 0..100 {
        let here = band_radiance_at(band, kelvin);
        if here.radiance < radiance {
            lowest = kelvin;
        } else {
            highest = kelvin;
        }
        // The logarithm of radiance is almost straight against 1/T, so Newton's step in 1/T lands close;
        // a step out of the bracket (or from where radiance is zero) is replaced by halving.
        let step = (here.radiance.ln() - target) * here.radiance / (here.slope * kelvin);
        let newton = kelvin / (1.0 + step);
        let next = if newton >= lowest && newton <= highest { newton } else { 0.5 * (lowest + highest) };
        let moved = (next - kelvin).abs();
        kelvin = next;
        if moved <= 1e-13 * kelvin {
            break;
        }
    }
    // A search that ran against its bracket has found no answer, only the bracket.
    let found = band_radiance_at(band, kelvin).radiance;
    if (found / radiance - 1.0).abs() < 1e-6 { Kelvin::new(kelvin).ok() } else { None }
}

/// t⁴/(eᵗ − 1), 0 where it underflows.
fn end_term(t: f64) -> f64 {
    let t = t.min(1e4);
    t.powi(4) / t.exp_m1()
}

/// ∫ t³/(eᵗ − 1) dt from `from` to `to`, both above zero; `to` may be infinite.
fn integral(from: f64, to: f64) -> f64 {
    match (from < SMALL_ARGUMENT, to < SMALL_ARGUMENT) {
        (false, _) => integral_above(from) - integral_above(to),
        (true, true) => integral_below(to) - integral_below(from),
        (true, false) => WHOLE_INTEGRAL - integral_below(from) - integral_above(to),
    }
}

/// ∫ₓ^∞ t³/(eᵗ − 1) dt by the exponential series, for x not far below [`SMALL_ARGUMENT`].
fn integral_above(x: f64) -> f64 {
    // The exponential is zero in f64 from here on.
    if x > 745.0 {
        return 0.0;
    }
    let ratio = (-x).exp();
    let (mut power, mut sum) = (1.0, 0.0);
    for n in 1..100 {
        let reciprocal = 1.0 / f64::from(n);
        power *= ratio;
        let term = power
            * reciprocal
            * (x * x * x + reciprocal * (3.0 * x * x + reciprocal * (6.0 * x + reciprocal * 6.0)));
        sum += term;
        if term <= 1e-17 * sum {
            break;
        }
    }
    sum
}

/// ∫₀ˣ t³/(eᵗ − 1) dt by the power series Σ Bₖ xᵏ⁺³ / ((k + 3) k!), for x up to [`SMALL_ARGUMENT`].
fn integral_below(x: f64) -> f64 {
    /// The terms of even k from 2 on; Bₖ are the Bernoulli numbers.
    const EVEN: [f64; 7] = [
        1.0 / 60.0,
        -1.0 / 5040.0,
        1.0 / 272_160.0,
        -1.0 / 13_305_600.0,
        1.0 / 622_702_080.0,
        -691.0 / 19_615_115_520_000.0,
        7.0 / (6.0 * 17.0 * 87_178_291_200.0),
    ];
    let square = x * x;
    let even = EVEN.iter().rev().fold(0.0, |sum, coefficient| sum * square + coefficient);
    x * square * (1.0 / 3.0 - x / 8.0 + square * even)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_two_series_meet() {
        // Both must give the whole integral, pi^4/15, when one takes what the other leaves.
        for x in [0.4, 0.45, 0.5, 0.55, 0.6] {
            let both = integral_below(x) + integral_above(x);
            assert!((both / WHOLE_INTEGRAL - 1.0).abs() < 1e-14, "at {x}: {both}");
        }
    }

    #[test]
    fn radiance_that_no_black_body_has_gets_no_temperature() {
        let band = Band::default();
        for radiance in [0.0, -28.9, f64::NAN, f64::INFINITY, 1e12] {
            assert_eq!(band_temperature(band, radiance), None, "{radiance}");
        }
    }
}
