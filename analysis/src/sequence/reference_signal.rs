//! The swing that a lock-in follows, found from events or from a series, and which frequency to choose.

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use super::lock_in::Reference;

/// A reference estimated from a series.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EstimatedReference {
    /// The swing.
    pub reference: Reference,
    /// The series' own amplitude, in its unit (peak).
    pub amplitude: f64,
    /// Amplitude over its standard uncertainty; below about 5 there may be no swing at all.
    pub standing_out: f64,
}

/// Why a series yields no reference.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoRhythm {
    /// Too few valid values.
    #[error("fewer than {FEWEST} readings")]
    TooFew,
    /// Times that do not rise from value to value.
    #[error("the times of its readings do not rise")]
    NotRising,
    /// What changes in it changes as drift does.
    #[error("no swing in it that drift does not explain as well")]
    DriftAlone,
    /// The swing takes more than half of the series.
    #[error("fewer than two periods of its swing, which cannot be told from drift")]
    TooSlow,
}

/// Fewer values than this yield no reference.
const FEWEST: usize = 16;
/// A swing of which fewer periods were seen cannot be told from drift.
pub const FEWEST_PERIODS: f64 = 2.0;

/// The strongest swing of a series after a parabola is taken off.
///
/// The frequency is that of the highest peak of the spectrum (Hann window, values put on even times),
/// then refined by least squares at the times as they are. The swing must explain the series better than a
/// polynomial with as many parameters, and be alike in both halves of the series.
///
/// # Errors
/// [`NoRhythm`].
pub fn estimate_reference(times_s: &[f64], values: &[f64]) -> Result<EstimatedReference, NoRhythm> {
    let samples: Vec<(f64, f64)> =
        times_s.iter().copied().zip(values.iter().copied()).filter(|(_, value)| value.is_finite()).collect();
    let (Some(&(first, _)), Some(&(last, _))) = (samples.first(), samples.last()) else {
        return Err(NoRhythm::TooFew);
    };
    if samples.len() < FEWEST {
        return Err(NoRhythm::TooFew);
    }
    let rising = samples.windows(2).all(|pair| pair[0].0 < pair[1].0);
    if !rising || !(last - first).is_finite() {
        return Err(NoRhythm::NotRising);
    }
    let samples: Vec<(f64, f64)> = samples.iter().map(|(time, value)| (time - first, *value)).collect();
    let span = last - first;
    let bin = spectrum_peak(&samples, span).ok_or(NoRhythm::DriftAlone)?;
    // A quarter of a spectral line on either side of the peak, in ever smaller steps, and never where a
    // sine is a trend or the values are too far apart to show it.
    let spacing = span / (samples.len() - 1) as f64;
    let shown = SLOWEST / span..0.5 / spacing;
    let (mut frequency, mut step) = (bin, 0.25 / span);
    let mut best = Swing::fit(&samples, frequency, span).ok_or(NoRhythm::DriftAlone)?;
    while step * span > 1e-7 {
        let mut moved = false;
        for trial in [frequency - step, frequency + step] {
            let swing = Swing::fit(&samples, trial, span).filter(|_| shown.contains(&trial));
            if let Some(swing) = swing.filter(|swing| swing.left < best.left) {
                (best, frequency, moved) = (swing, trial, true);
            }
        }
        if !moved {
            step /= 2.0;
        }
    }
    // Every value stands for the time to the next.
    if frequency * (span + spacing) < FEWEST_PERIODS {
        return Err(NoRhythm::TooSlow);
    }
    if drift_explains_as_much(&samples, span, best.left) || !recurs(&samples, frequency) {
        return Err(NoRhythm::DriftAlone);
    }
    let amplitude = best.sine.hypot(best.cosine);
    // Temperatures come in single precision: below their last digit nothing swings.
    let largest = samples.iter().fold(0.0_f64, |largest, (_, value)| largest.max(value.abs()));
    if amplitude <= f64::from(f32::EPSILON) * largest {
        return Err(NoRhythm::DriftAlone);
    }
    let freedom = (samples.len() - 6) as f64;
    let uncertainty = (best.left / freedom * 2.0 / samples.len() as f64).sqrt();
    // A sin(ωt + θ) passes zero rising at t = −θ/ω; the first such time from the start on is taken.
    let zero = -best.cosine.atan2(best.sine) / (std::f64::consts::TAU * frequency);
    let zero_s = first + if zero < 0.0 { zero + 1.0 / frequency } else { zero };
    let reference = Reference { frequency_hz: frequency, zero_s };
    Ok(EstimatedReference { reference, amplitude, standing_out: amplitude / uncertainty })
}

/// Whether a polynomial with as many parameters as swing, frequency and parabola leaves no more than they do.
fn drift_explains_as_much(samples: &[(f64, f64)], span: f64, left: f64) -> bool {
    let drift = solve::<6>(samples, |time| std::array::from_fn(|power| (time / span).powi(power as i32)));
    drift.is_none_or(|(_, drift_left)| drift_left <= left)
}

/// Whether the swing of the first half comes again in the second: they differ by less than they have in common.
/// What warms up or steps once swings in one half only.
fn recurs(samples: &[(f64, f64)], frequency: f64) -> bool {
    let swing = |half: &[(f64, f64)]| {
        let span = half.last()?.0;
        Swing::fit(half, frequency, span)
    };
    let (first, second) = samples.split_at(samples.len() / 2);
    swing(first).zip(swing(second)).is_some_and(|(a, b)| {
        let differing = (a.sine - b.sine).hypot(a.cosine - b.cosine);
        differing < 0.5 * (a.sine + b.sine).hypot(a.cosine + b.cosine)
    })
}

/// Periods within the series below which no peak is looked for.
const SLOWEST: f64 = 1.5;

/// The frequency of the highest peak, Hz; `None` where the spectrum only falls, as that of drift does.
fn spectrum_peak(samples: &[(f64, f64)], span: f64) -> Option<f64> {
    let count = samples.len();
    let spacing = span / (count - 1) as f64;
    let drift = polynomial(samples, span)?;
    let size = (4 * count).next_power_of_two();
    let mut spectrum = vec![Complex::new(0.0, 0.0); size];
    let mut at = 0;
    for (index, line) in spectrum.iter_mut().take(count).enumerate() {
        let time = index as f64 * spacing;
        while at + 2 < count && samples[at + 1].0 < time {
            at += 1;
        }
        let ((t0, v0), (t1, v1)) = (samples[at], samples[at + 1]);
        let value = v0 + (v1 - v0) * ((time - t0) / (t1 - t0)).clamp(0.0, 1.0);
        let window = 0.5 - 0.5 * (std::f64::consts::TAU * index as f64 / (count - 1) as f64).cos();
        *line = Complex::new(window * (value - drift.at(time / span)), 0.0);
    }
    FftPlanner::new().plan_fft_forward(size).process(&mut spectrum);
    let power: Vec<f64> = spectrum.iter().take(size / 2 + 1).map(Complex::norm_sqr).collect();
    let least = (((SLOWEST / span) * spacing * size as f64).ceil() as usize).max(1);
    let is_peak = |index: &usize| power[index - 1] < power[*index] && power[*index] >= power[index + 1];
    let index = (least..size / 2).filter(is_peak).max_by(|a, b| power[*a].total_cmp(&power[*b]))?;
    Some(index as f64 / (spacing * size as f64))
}

struct Parabola([f64; 3]);

impl Parabola {
    fn at(&self, share: f64) -> f64 {
        self.0[0] + share * (self.0[1] + share * self.0[2])
    }
}

fn polynomial(samples: &[(f64, f64)], span: f64) -> Option<Parabola> {
    let solution = solve::<3>(samples, |time| [1.0, time / span, (time / span).powi(2)])?;
    Some(Parabola(solution.0))
}

/// A sine and cosine with a parabola, by least squares at one frequency.
struct Swing {
    sine: f64,
    cosine: f64,
    /// The sum of squares that is left.
    left: f64,
}

impl Swing {
    fn fit(samples: &[(f64, f64)], frequency: f64, span: f64) -> Option<Self> {
        let ([sine, cosine, ..], left) = solve::<5>(samples, |time| {
            let (sine, cosine) = (std::f64::consts::TAU * frequency * time).sin_cos();
            [sine, cosine, 1.0, time / span, (time / span).powi(2)]
        })?;
        Some(Self { sine, cosine, left })
    }
}

/// Linear least squares: the coefficients and the sum of squares that is left.
fn solve<const TERMS: usize>(
    samples: &[(f64, f64)],
    terms: impl Fn(f64) -> [f64; TERMS],
) -> Option<([f64; TERMS], f64)> {
    let mut normal = nalgebra::SMatrix::<f64, TERMS, TERMS>::zeros();
    let mut right = nalgebra::SVector::<f64, TERMS>::zeros();
    for (time, value) in samples {
        let terms = nalgebra::SVector::<f64, TERMS>::from(terms(*time));
        normal += terms * terms.transpose();
        right += terms * *value;
    }
    let found = normal.cholesky()?.solve(&right);
    let left = |(time, value): &(f64, f64)| {
        let model: f64 = terms(*time).iter().zip(found.iter()).map(|(term, factor)| term * factor).sum();
        (value - model).powi(2)
    };
    let sum = samples.iter().map(left).sum();
    Some((std::array::from_fn(|term| found[term]), sum))
}

/// The reference of power that is switched on at these times: a straight line through them, period by
/// period; a time that is missing is skipped. `None` for fewer than two different times.
#[must_use]
pub fn reference_from_events(on_times_s: &[f64]) -> Option<Reference> {
    let mut times: Vec<f64> = on_times_s.iter().copied().filter(|time| time.is_finite()).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let mut gaps: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let middle = gaps.len() / 2;
    let period =
        if gaps.is_empty() { return None } else { *gaps.select_nth_unstable_by(middle, f64::total_cmp).1 };
    let first = *times.first()?;
    let turns: Vec<f64> = times
        .iter()
        .scan((first, 0.0), |(before, turn), &time| {
            *turn += ((time - *before) / period).round().max(1.0) * f64::from(u8::from(time > *before));
            *before = time;
            Some(*turn)
        })
        .collect();
    let slope = super::trend::slope(0.0, &turns, &times);
    let mean = |numbers: &[f64]| numbers.iter().sum::<f64>() / numbers.len() as f64;
    let zero_s = mean(&times) - slope * mean(&turns);
    (slope > 0.0).then_some(Reference { frequency_hz: 1.0 / slope, zero_s })
}

/// Thermal diffusion length μ = √(α / (π f)), mm, of a diffusivity α in m²/s at f in Hz: after this way a
/// plane thermal wave has fallen to 1/e and lags by one radian. A point source's wave falls faster, as it
/// also spreads. Infinite at 0 Hz, NaN for a negative argument.
///
/// # Source
/// Breitenstein, Warta, Langenkamp, *Lock-in Thermography*, chapter 4, named from memory.
#[must_use]
pub fn diffusion_length_mm(diffusivity: f64, frequency_hz: f64) -> f64 {
    (diffusivity / (std::f64::consts::PI * frequency_hz)).sqrt() * 1000.0
}

/// The frequency, Hz, at which the diffusion length is `length_mm`, α / (π μ²), α in m²/s. Choose at least
/// this much to tell neighbours that far apart from each other, and at most this much to see a source that
/// deep. The same relation as [`diffusion_length_mm`], solved for f.
#[must_use]
pub fn frequency_for_length(diffusivity: f64, length_mm: f64) -> f64 {
    diffusivity / (std::f64::consts::PI * (length_mm / 1000.0).powi(2))
}

/// The noise floor of an amplitude over whole periods, 2 σ/√N: its root mean square without any swing.
///
/// # Source
/// Breitenstein, Warta, Langenkamp, *Lock-in Thermography*, chapter 2, named from memory.
#[must_use]
pub fn noise_floor(noise: f64, frames: usize) -> f64 {
    2.0 * noise / (frames as f64).sqrt()
}

/// The amplitude that noise alone exceeds anywhere among `pixels` with the probability `chance` at most:
/// floor · √ln(pixels / chance), in the unit of the floor. The square of an amplitude without swing has an
/// exponential law with mean floor², and the chances of all pixels are added up.
#[must_use]
pub fn detectable_amplitude(floor: f64, pixels: usize, chance: f64) -> f64 {
    floor * (pixels.max(1) as f64 / chance).ln().max(0.0).sqrt()
}

/// Frames after which the noise floor is `wanted`: (2 σ / wanted)².
#[must_use]
pub fn frames_for_floor(noise: f64, wanted: f64) -> f64 {
    (2.0 * noise / wanted).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_swing_on_a_drift_is_found_with_its_frequency_and_zero() {
        let times: Vec<f64> = (0..500).map(|n| 100.0 + 0.4 * f64::from(n)).collect();
        let swing = |time: f64| 0.3 * (std::f64::consts::TAU * 0.1234 * (time - 103.0)).sin();
        let values: Vec<f64> = times.iter().map(|time| 0.02 * time + swing(*time)).collect();
        let found = estimate_reference(&times, &values).unwrap();
        assert!((found.reference.frequency_hz - 0.1234).abs() < 1e-6, "{found:?}");
        assert!((found.reference.zero_s - 103.0).abs() < 1e-3, "{found:?}");
        assert!((found.amplitude - 0.3).abs() < 1e-4 && found.standing_out > 1000.0);
        assert_eq!(estimate_reference(&times[..9], &values[..9]), Err(NoRhythm::TooFew));
        assert_eq!(estimate_reference(&[3.0; 20], &[1.0; 20]), Err(NoRhythm::NotRising));
    }

    /// A board that is switched on and warms up, 48 frames 15 s apart, with a load step at 405 s.
    fn warming_up(time_constant_s: f64, step_k: f64) -> (Vec<f64>, Vec<f64>) {
        let times: Vec<f64> = (0..48).map(|n| 15.0 * f64::from(n)).collect();
        let rise = |since: f64| if since > 0.0 { 1.0 - (-since / time_constant_s).exp() } else { 0.0 };
        // A fixed pattern in place of noise, some hundredths of a kelvin.
        let unrest = |n: usize| 0.02 * ((n * n * 7 % 31) as f64 / 15.0 - 1.0);
        let value = |(n, t): (usize, &f64)| 296.0 + 30.0 * rise(*t) + step_k * rise(*t - 405.0) + unrest(n);
        let values = times.iter().enumerate().map(value).collect();
        (times, values)
    }

    #[test]
    fn warming_up_is_no_rhythm() {
        for time_constant_s in [10.0, 25.0, 60.0, 100.0, 150.0, 240.0, 400.0, 800.0] {
            for step_k in [0.0, 1.0, 3.0, 10.0] {
                let (times, values) = warming_up(time_constant_s, step_k);
                let found = estimate_reference(&times, &values);
                assert!(found.is_err(), "{time_constant_s} s, {step_k} K: {found:?}");
            }
        }
        let straight: Vec<f64> = (0..48).map(|n| 296.0 + 0.1 * f64::from(n)).collect();
        assert!(estimate_reference(&warming_up(60.0, 0.0).0, &straight).is_err());
    }

    #[test]
    fn a_swing_is_found_while_the_board_still_warms_up_a_little_and_not_from_too_few_periods() {
        let (times, warming) = warming_up(400.0, 0.0);
        let swinging = |period: f64| -> Vec<f64> {
            let swing = |time: &f64| 1.5 * (std::f64::consts::TAU * (time - 20.0) / period).sin();
            times.iter().zip(&warming).map(|(time, value)| 0.1 * value + swing(time)).collect()
        };
        for period in [60.0, 90.0, 120.0] {
            let found = estimate_reference(&times, &swinging(period)).unwrap();
            let error = found.reference.frequency_hz * period - 1.0;
            assert!(error.abs() < 0.02 && found.reference.frequency_hz > 0.0, "{period} s: {found:?}");
        }
        // 720 s hold 1.6 periods of 450 s, and 1.03 of 700 s.
        assert!(estimate_reference(&times, &swinging(450.0)).is_err());
        assert!(estimate_reference(&times, &swinging(700.0)).is_err());
    }

    #[test]
    fn switching_times_give_the_reference_even_when_one_is_missing() {
        let found = reference_from_events(&[3.0, 13.0, 23.0, 53.0, 43.0]).unwrap();
        assert!((found.frequency_hz - 0.1).abs() < 1e-12 && (found.zero_s - 3.0).abs() < 1e-9);
        assert_eq!(reference_from_events(&[3.0, 3.0]), None);
    }

    #[test]
    fn diffusion_lengths_are_those_of_the_formula_worked_by_hand() {
        // α 8.8e-5 m²/s at 1 Hz: √(8.8e-5 / π) = 5.292567 mm.
        assert!((diffusion_length_mm(8.8e-5, 1.0) - 5.292_567).abs() < 1e-5);
        assert!((frequency_for_length(8.8e-5, diffusion_length_mm(8.8e-5, 7.0)) - 7.0).abs() < 1e-12);
        // 40 mK and 10 000 frames: 0.8 mK.
        assert!((noise_floor(0.04, 10_000) - 0.0008).abs() < 1e-15);
        assert!((frames_for_floor(0.04, 0.0008) - 10_000.0).abs() < 1e-6);
    }
}
