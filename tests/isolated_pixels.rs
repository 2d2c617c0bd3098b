//! Pixels that stand alone are the detector's and are set aside; what optics have spread is real and stays.

#![expect(clippy::unwrap_used, reason = "the pieces a test is built from are known to be in range")]

use std::collections::BTreeSet;

use analysis::capture::set_aside_isolated;
use analysis::frame::{ApparentKelvin, Frame, RawNumber};
use analysis::synthetic::camera::KELVIN_PER_COUNT;
use analysis::synthetic::{Camera, Fault, Population, Simulated, sample_population};

type Pixel = (usize, usize);

/// The sample board under a camera with this blur, this many times as far away. One of its smallest parts, of
/// 1.0 × 0.5 mm, leaks: a hot spot of 5 × 3 pixels, or half that from twice as far.
fn board(blur_px: f64, times_as_far: f64) -> (Simulated, Camera) {
    let mut population: Population = sample_population();
    population.camera.blur_px = blur_px;
    population.camera.stuck_pixels.clear();
    population.pose.distance_mm *= times_as_far;
    let fault = Fault::Leaking { designator: "C14", watts: 0.4 };
    let simulated = population.unit(3, Some(&fault)).unwrap();
    (simulated, population.camera)
}

fn kelvin(counts: &Frame<RawNumber>) -> Frame<ApparentKelvin> {
    counts.map(|count| count * KELVIN_PER_COUNT as f32)
}

fn missing(picture: &Frame<ApparentKelvin>) -> BTreeSet<Pixel> {
    let view = picture.view();
    view.indexed_iter().filter(|(_, value)| value.is_nan()).map(|(place, _)| place).collect()
}

/// The picture with these steps added, K.
fn with_steps(picture: &Frame<ApparentKelvin>, steps: &[(Pixel, f32)]) -> Frame<ApparentKelvin> {
    let mut values = picture.view().to_owned();
    for &(place, step) in steps {
        values[place] += step;
    }
    Frame::new(values).unwrap()
}

/// A linear congruential generator (Numerical Recipes' constants).
struct Draw(u32);

impl Draw {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (self.0 >> 8) as usize % end
    }

    /// From 5 to 50 K, to either side.
    fn step(&mut self) -> f32 {
        let size = 5.0 + 45.0 * self.below(1000) as f32 / 999.0;
        if self.below(2) == 0 { size } else { -size }
    }
}

#[test]
fn nothing_of_a_clean_board_is_set_aside_even_through_sharp_optics() {
    let (mut pixels, mut set_aside) = (0, 0);
    for (blur_px, times_as_far) in [(0.7, 1.0), (0.5, 1.0), (0.5, 2.0)] {
        let (simulated, camera) = board(blur_px, times_as_far);
        for seed in 0..4 {
            let picture = kelvin(&camera.digitize(&simulated.apparent_clean, seed).unwrap());
            pixels += picture.as_slice().len();
            set_aside += set_aside_isolated(picture).1;
        }
        // Without noise the test is at its keenest.
        pixels += simulated.apparent_clean.as_slice().len();
        set_aside += set_aside_isolated(simulated.apparent_clean).1;
    }
    assert!(set_aside as f64 <= 1e-5 * pixels as f64, "{set_aside} of {pixels}");
}

#[test]
fn steps_of_one_and_two_pixels_are_found_and_hardly_anything_beside_them() {
    for (blur_px, seed) in [(0.7, 1), (0.5, 2)] {
        let (simulated, camera) = board(blur_px, 1.0);
        let clean = kelvin(&camera.digitize(&simulated.apparent_clean, 8).unwrap());
        let mut draw = Draw(seed);
        // One in every 20 × 20 pixels, every second with a partner: as the detector's, on every kind of ground.
        let (mut single, mut paired) = (Vec::new(), Vec::new());
        for cell in 0..24 * 32 {
            let place = (cell / 32 * 20 + 5 + draw.below(10), cell % 32 * 20 + 5 + draw.below(10));
            let step = draw.step();
            if cell % 2 == 0 {
                single.push((place, step));
            } else {
                let partner = [(0, 1), (1, 0), (1, 1)][draw.below(3)];
                paired.push((place, step));
                paired.push(((place.0 + partner.0, place.1 + partner.1), step));
            }
        }
        let all = [single.clone(), paired.clone()].concat();
        let (left, count) = set_aside_isolated(with_steps(&clean, &all));
        let gone = missing(&left);
        assert_eq!(gone.len(), count);
        let share = |steps: &[(Pixel, f32)]| {
            steps.iter().filter(|(place, _)| gone.contains(place)).count() as f64 / steps.len() as f64
        };
        let meant: BTreeSet<Pixel> = all.iter().map(|(place, _)| *place).collect();
        let beside = gone.difference(&meant).count();
        // What is missing lies on steep edges; pairs need more even ground.
        assert!(share(&single) >= 0.98, "{}", share(&single));
        assert!(share(&paired) >= 0.93, "{}", share(&paired));
        // Beside a step a good pixel can look odd, in two cases of a thousand at most.
        assert!(beside * 500 <= all.len(), "{beside}");
    }
}

/// Φ, the normal distribution function, by the series of Abramowitz and Stegun 26.2.10 (remembered).
fn normal_distribution(x: f64) -> f64 {
    let (mut term, mut sum) = (x, x);
    for n in 1..120 {
        let n = f64::from(n);
        term *= -x * x / (2.0 * n) * (2.0 * n - 1.0) / (2.0 * n + 1.0);
        sum += term;
    }
    0.5 + sum / (2.0 * std::f64::consts::PI).sqrt()
}

#[test]
fn the_smallest_spot_that_optics_let_through_stays() {
    // A point of heat through a Gaussian of half a pixel and the pixel's own width: along each axis the
    // pixel at distance d gets Φ((d + ½)/σ) − Φ((d − ½)/σ).
    let along = |d: f64| normal_distribution((d + 0.5) / 0.5) - normal_distribution((d - 0.5) / 0.5);
    for step in 0..100_u32 {
        let (x, y) = (20.0 + 0.05 * f64::from(step % 10), 20.0 + 0.05 * f64::from(step / 10));
        for height in [-80.0, 80.0] {
            let spot = |column: usize, row: usize| {
                let (dx, dy) = (column as f64 - x, row as f64 - y);
                // Beyond three pixels nothing arrives, and the series loses its digits.
                if dx.abs() > 3.0 || dy.abs() > 3.0 { 0.0 } else { height * along(dx) * along(dy) }
            };
            let numbers = (0..41 * 41)
                .map(|index| (320.0 + 0.8 * (index % 41) as f64 + spot(index % 41, index / 41)) as f32);
            let picture = Frame::<ApparentKelvin>::from_rows(41, 41, numbers.collect()).unwrap();
            assert_eq!(set_aside_isolated(picture).1, 0, "at {x}, {y}");
        }
    }
}

#[test]
fn beside_a_known_stuck_pixel_and_on_a_slope_a_stuck_pixel_is_still_found() {
    let ground =
        |index: usize| if index == 20 * 41 + 21 { f32::NAN } else { 300.0 + 2.0 * (index % 41) as f32 };
    let picture = Frame::<ApparentKelvin>::from_rows(41, 41, (0..41 * 41).map(ground).collect()).unwrap();
    let (left, count) = set_aside_isolated(with_steps(&picture, &[((20, 20), -6.0), ((8, 30), 0.4)]));
    assert_eq!(count, 1);
    assert_eq!(missing(&left), BTreeSet::from([(20, 20), (20, 21)]));
}
