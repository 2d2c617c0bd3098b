//! Lock-in of simulated sources, with known places, and its law of noise.

use analysis::frame::{Frame, SurfaceKelvin};
use analysis::geometry::Point;
use analysis::sequence::{
    Drift, LockIn, LockInMaps, LockInSettings, Reference, detectable_amplitude, diffusion_length_mm,
    locate_source, noise_floor,
};
use rand::{RngExt, SeedableRng, rngs::ChaCha8Rng};
use rand_distr::{Distribution, Normal};

const FRAMES: usize = 600;
const PITCH_MM: f64 = 0.3;
const SIDE: usize = 48;
const NOISE: f64 = 0.05;
const SEEDS: u64 = 24;

/// A source below the surface of a thick body: e^(−(1 + i) R/μ) / R with R² = r² + depth², scaled to the
/// amplitude at its peak; the wave of a point source, named from memory. Real part: in phase.
fn wave(distance_mm: f64, amplitude: f64) -> (f64, f64) {
    const DEPTH_MM: f64 = 0.8;
    // Moulding compound, 0.8 W/(m·K) / (1900 kg/m³ · 900 J/(kg·K)), at 0.1 Hz: 1.22 mm.
    let length = diffusion_length_mm(4.67836e-7, 0.1);
    let reach = distance_mm.hypot(DEPTH_MM);
    let strength = amplitude * (-(reach - DEPTH_MM) / length).exp() * DEPTH_MM / reach;
    let lag = reach / length;
    (strength * lag.cos(), strength * lag.sin())
}

/// What a peak of this source lags behind, rad.
fn peak_lag() -> f64 {
    let (in_phase, quadrature) = wave(0.0, 1.0);
    quadrature.atan2(in_phase)
}

fn record(seed: u64, at: Point<analysis::geometry::BaselinePixels>, amplitude: f64) -> LockInMaps {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let noise = Normal::new(0.0, NOISE).expect("a width above zero");
    let reference = Reference { frequency_hz: 0.1, zero_s: 0.0 };
    let settings = LockInSettings { reference, harmonics: 1, drift: Drift::Quadratic };
    let mut lock_in = LockIn::<SurfaceKelvin>::new(settings).expect("sound settings");
    let waves: Vec<(f64, f64)> = (0..SIDE * SIDE)
        .map(|pixel| {
            let place = Point::new((pixel % SIDE) as f64, (pixel / SIDE) as f64);
            wave(at.distance(place) * PITCH_MM, amplitude)
        })
        .collect();
    for frame in 0..FRAMES {
        let time = frame as f64;
        // The end of a warm-up, as seen after nine tenths of it.
        let drift = 305.0 - 1.5 * (-time / 900.0).exp();
        let (sine, cosine) = (std::f64::consts::TAU * 0.1 * time).sin_cos();
        let pixels =
            waves.iter().map(|(p, q)| (drift + p * sine - q * cosine + noise.sample(&mut random)) as f32);
        let pixels = Frame::from_rows(SIDE, SIDE, pixels.collect()).expect("a frame");
        lock_in.add(time, pixels).expect("one size");
    }
    lock_in.finish().expect("sixty periods")
}

#[test]
fn weak_sources_are_found_within_a_pixel_and_the_ellipse_is_honest() {
    println!(
        "amplitude, mK | rms distance, mm | stated, mm | inside 95 % ellipse | lag bias, deg | amplitude bias, mK"
    );
    for (amplitude, allowed_mm) in [(0.020, 0.3), (0.005, 0.6)] {
        let (mut squares, mut stated, mut inside, mut lag, mut bias) = (0.0, 0.0, 0, 0.0, 0.0);
        for seed in 0..SEEDS {
            let mut random = ChaCha8Rng::seed_from_u64(900 + seed);
            let at = Point::new(random.random_range(14.0..34.0), random.random_range(14.0..34.0));
            let maps = record(seed, at, amplitude);
            let source =
                locate_source(&maps.harmonics[0], maps.typical_noise).expect("a source that stands out");
            let (x, y) = (source.at.x - at.x, source.at.y - at.y);
            let [xx, xy, yy] = source.covariance;
            squares += (x * x + y * y) * PITCH_MM * PITCH_MM;
            stated += (xx + yy) * PITCH_MM * PITCH_MM;
            let distance = (x * x * yy - 2.0 * x * y * xy + y * y * xx) / (xx * yy - xy * xy);
            // χ² with 2 degrees of freedom is below 5.991 with a probability of 95 %.
            inside += u32::from(distance < 5.991);
            lag += source.lag - peak_lag();
            bias += source.amplitude - amplitude;
        }
        let count = SEEDS as f64;
        let rms = (squares / count).sqrt();
        println!(
            "{:13.1} | {rms:16.3} | {:10.3} | {inside:10} of {SEEDS} | {:13.2} | {:18.2}",
            1e3 * amplitude,
            (stated / count).sqrt(),
            (lag / count).to_degrees(),
            1e3 * bias / count
        );
        assert!(rms <= allowed_mm, "{rms} mm");
        // Of 24 draws at 95 % fewer than 19 are inside with a probability below 1 in 1000.
        assert!(inside >= 19, "{inside} of {SEEDS}");
    }
}

#[test]
fn the_noise_of_an_amplitude_follows_the_published_law() {
    let maps = record(77, Point::new(-400.0, -400.0), 0.0);
    let amplitudes = maps.harmonics[0].amplitude.as_slice();
    let squares: f64 = amplitudes.iter().map(|a| f64::from(*a).powi(2)).sum();
    let rms = (squares / amplitudes.len() as f64).sqrt();
    // 2304 exponential squares: their root mean square scatters by 1/(2 √2304) = 1.04 %; four of these.
    let law = noise_floor(NOISE, FRAMES);
    assert!((rms / law - 1.0).abs() < 0.042, "{rms} and {law}");
    assert!((maps.harmonics[0].noise_floor(NOISE) / law - 1.0).abs() < 0.01);
    // Each pixel's noise scatters by 1/√(2 · 595) = 2.9 %, the median of 2304 by far less.
    assert!((maps.typical_noise / NOISE - 1.0).abs() < 0.01, "{}", maps.typical_noise);
    // Without a source none is found, and the detectable amplitude is beyond all that the noise shows.
    assert!(locate_source(&maps.harmonics[0], maps.typical_noise).is_none());
    let greatest = amplitudes.iter().copied().fold(0.0, f32::max);
    assert!(f64::from(greatest) < detectable_amplitude(law, amplitudes.len(), 0.01));
}

#[test]
fn diffusion_lengths_are_those_of_the_project_s_references() {
    // Computed from μ = √(α / (π f)) with published diffusivities: silicon, copper, moulding compound.
    for (diffusivity, frequency, expected_mm) in
        [(8.8e-5, 0.1, 16.736_567_74), (1.165_98e-4, 5.0, 2.724_492_471), (4.678_36e-7, 0.1, 1.220_315_147)]
    {
        let found = diffusion_length_mm(diffusivity, frequency);
        assert!((found / expected_mm - 1.0).abs() < 1e-5, "{found} {expected_mm}");
    }
}
