//! What a place of a picture reads: a point, an area, or the values along a line.

use crate::frame::Frame;
use crate::geometry::{BaselinePixels, Point, whole_numbers};

/// Least, mean and greatest valid value of a place, in the picture's own quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaceReading {
    /// The least.
    pub least: f32,
    /// The arithmetic mean.
    pub mean: f32,
    /// The greatest.
    pub greatest: f32,
    /// How many valid pixels it is over.
    pub pixels: usize,
}

impl PlaceReading {
    /// The reading over these values; `None` when none is valid.
    fn of(values: impl IntoIterator<Item = f32>) -> Option<Self> {
        let (mut least, mut greatest, mut sum, mut pixels) = (f32::INFINITY, f32::NEG_INFINITY, 0.0_f64, 0);
        for value in values.into_iter().filter(|value| !value.is_nan()) {
            least = least.min(value);
            greatest = greatest.max(value);
            sum += f64::from(value);
            pixels += 1;
        }
        (pixels > 0).then(|| Self { least, mean: (sum / pixels as f64) as f32, greatest, pixels })
    }
}

/// The reading of a point over the 3 × 3 pixels around it.
#[must_use]
pub fn read_point<Q>(frame: &Frame<Q>, at: Point<BaselinePixels>) -> Option<PlaceReading> {
    let around = |by: f64| Point::new(at.x.round() + by, at.y.round() + by);
    read_area(frame, around(-1.0), around(1.0))
}

/// The reading over the pixels whose centres lie in the upright rectangle of two opposite corners.
#[must_use]
pub fn read_area<Q>(
    frame: &Frame<Q>,
    from: Point<BaselinePixels>,
    to: Point<BaselinePixels>,
) -> Option<PlaceReading> {
    let (rows, columns) = frame.shape();
    let rows = whole_numbers(from.y.min(to.y), from.y.max(to.y), rows);
    let columns = whole_numbers(from.x.min(to.x), from.x.max(to.x), columns);
    PlaceReading::of(
        rows.flat_map(|row| columns.clone().map(move |column| (row, column)))
            .filter_map(|(row, column)| frame.at(row, column)),
    )
}

/// The values along a straight line: distance from its start in pixels, and the value of the nearest
/// pixel there, NaN where there is none. Steps are at most one pixel.
#[must_use]
pub fn read_line<Q>(
    frame: &Frame<Q>,
    from: Point<BaselinePixels>,
    to: Point<BaselinePixels>,
) -> Vec<(f64, f32)> {
    let length = from.distance(to);
    // A line longer than any picture is cut short rather than filling the memory.
    let steps = length.ceil().clamp(1.0, 100_000.0);
    (0..=steps as u32)
        .map(|step| {
            let share = f64::from(step) / steps;
            let (x, y) = (from.x + share * (to.x - from.x), from.y + share * (to.y - from.y));
            let inside = x > -0.5 && y > -0.5;
            let value = inside.then(|| frame.at(y.round() as usize, x.round() as usize)).flatten();
            (share * length, value.unwrap_or(f32::NAN))
        })
        .collect()
}

/// The reading over a line's values.
#[must_use]
pub fn read_values(values: &[(f64, f32)]) -> Option<PlaceReading> {
    PlaceReading::of(values.iter().map(|&(_, value)| value))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    /// Three rows of four: 0 to 11, one pixel invalid.
    fn counting() -> Frame<SurfaceKelvin> {
        let numbers = (0..12).map(|n| if n == 5 { f32::NAN } else { n as f32 }).collect();
        Frame::from_rows(3, 4, numbers).unwrap()
    }

    #[test]
    fn an_area_reads_the_pixels_whose_centres_it_holds_and_skips_invalid_ones() {
        let reading = read_area(&counting(), Point::new(2.2, 1.9), Point::new(-0.4, -0.4)).unwrap();
        // Centres inside: rows 0 and 1, columns 0 to 2: 0 1 2 4 (5 invalid) 6, mean 13 / 5.
        assert_eq!((reading.least, reading.greatest, reading.pixels), (0.0, 6.0, 5));
        assert!((reading.mean - 2.6).abs() < 1e-6);
    }

    #[test]
    fn a_point_reads_its_neighbourhood_even_at_the_edge() {
        let reading = read_point(&counting(), Point::new(3.0, 2.0)).unwrap();
        assert_eq!((reading.least, reading.greatest, reading.pixels), (6.0, 11.0, 4));
        assert_eq!(read_point(&counting(), Point::new(40.0, 40.0)), None);
    }

    #[test]
    fn a_line_reads_from_end_to_end_in_steps_of_a_pixel() {
        let values = read_line(&counting(), Point::new(0.0, 2.0), Point::new(3.0, 2.0));
        assert_eq!(values, vec![(0.0, 8.0), (1.0, 9.0), (2.0, 10.0), (3.0, 11.0)]);
        assert!(read_line(&counting(), Point::new(-9.0, 0.0), Point::new(-9.0, 0.0))[0].1.is_nan());
    }
}
