//! How named places of a sequence change from frame to frame, and pictures that sum a span of frames up.

use std::ops::Range;

use super::place_sample::{PlaceSample, read_places};
use crate::board::Footprint;
use crate::frame::{Frame, FrameError};
use crate::geometry::{BaselinePixels, Point, whole_numbers};

/// What to follow from frame to frame.
#[derive(Debug, Clone, PartialEq)]
pub enum Place {
    /// The 3 × 3 pixels around a point.
    Point(Point<BaselinePixels>),
    /// The pixels whose centres lie in the upright rectangle of two opposite corners.
    Area(Point<BaselinePixels>, Point<BaselinePixels>),
    /// The pixels nearest to the line, in steps of at most one pixel, each once.
    Line(Point<BaselinePixels>, Point<BaselinePixels>),
    /// The pixels that a part's body covers.
    Part(Footprint),
    /// The whole picture: its greatest is the hottest pixel, its least the coldest.
    Whole,
}

/// Reads places frame by frame; the places' pixels are worked out once.
#[derive(Debug, Clone)]
pub struct PlaceReader {
    shape: (usize, usize),
    /// For each place stretches of pixels, row after row as a frame holds them.
    places: Vec<Vec<Range<usize>>>,
}

impl PlaceReader {
    /// Works out which pixels the places have in frames of this shape (rows, columns).
    #[must_use]
    pub fn new(places: &[Place], shape: (usize, usize)) -> Self {
        let stretches_of = |place| stretches(&pixel_runs(place, shape), shape.1);
        Self { shape, places: places.iter().map(stretches_of).collect() }
    }

    /// Each place's sample, `None` for a place without a valid pixel.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`] for a frame of another size.
    pub fn read<Q>(&self, frame: &Frame<Q>) -> Result<Vec<Option<PlaceSample>>, FrameError> {
        let (expected, found) = (self.shape, frame.shape());
        if expected != found {
            return Err(FrameError::ShapeMismatch { expected, found });
        }
        Ok(read_places(frame.as_slice(), expected.1, &self.places))
    }
}

fn pixel_runs(place: &Place, shape: (usize, usize)) -> Vec<(usize, Range<usize>)> {
    let (rows, columns) = shape;
    let area = |from: Point<BaselinePixels>, to: Point<BaselinePixels>| {
        let across = whole_numbers(from.x.min(to.x), from.x.max(to.x), columns);
        let down = whole_numbers(from.y.min(to.y), from.y.max(to.y), rows);
        down.filter(|_| !across.is_empty()).map(|row| (row, across.clone())).collect()
    };
    match place {
        Place::Point(at) => {
            let (x, y) = (at.x.round(), at.y.round());
            area(Point::new(x - 1.0, y - 1.0), Point::new(x + 1.0, y + 1.0))
        }
        Place::Area(from, to) => area(*from, *to),
        Place::Line(from, to) => line(*from, *to, shape),
        Place::Part(footprint) => footprint.pixel_runs(shape),
        Place::Whole => (0..rows).map(|row| (row, 0..columns)).collect(),
    }
}

fn line(
    from: Point<BaselinePixels>,
    to: Point<BaselinePixels>,
    (rows, columns): (usize, usize),
) -> Vec<(usize, Range<usize>)> {
    // A line longer than any picture is cut short rather than filling the memory.
    let steps = from.distance(to).ceil().clamp(1.0, 100_000.0);
    let mut pixels: Vec<(usize, usize)> = (0..=steps as u32)
        .filter_map(|step| {
            let share = f64::from(step) / steps;
            let (x, y) = (from.x + share * (to.x - from.x), from.y + share * (to.y - from.y));
            let (x, y) =
                ((x > -0.5).then_some(x.round() as usize)?, (y > -0.5).then_some(y.round() as usize)?);
            (x < columns && y < rows).then_some((y, x))
        })
        .collect();
    pixels.sort_unstable();
    pixels.dedup();
    pixels.into_iter().map(|(row, column)| (row, column..column + 1)).collect()
}

/// Runs within rows as stretches of a whole frame: rows that are taken from end to end become one, and a long
/// one is cut where sums in single precision would begin to lose digits.
fn stretches(runs: &[(usize, Range<usize>)], columns: usize) -> Vec<Range<usize>> {
    const LONGEST: usize = 4096;
    let mut joined: Vec<Range<usize>> = Vec::new();
    for (row, run) in runs {
        let (start, end) = (row * columns + run.start, row * columns + run.end);
        match joined.last_mut() {
            Some(last) if last.end == start => last.end = end,
            _ => joined.push(start..end),
        }
    }
    let cut = |stretch: Range<usize>| {
        let end = stretch.end;
        stretch.step_by(LONGEST).map(move |start| start..(start + LONGEST).min(end))
    };
    joined.into_iter().flat_map(cut).collect()
}

/// Mean, least and greatest of every pixel over a span of frames, in constant memory.
///
/// A frame in which a pixel is invalid does not count for it.
#[derive(Debug, Clone, Default)]
pub struct SpanSummary {
    shape: Option<(usize, usize)>,
    sums: Vec<f64>,
    counts: Vec<u32>,
    least: Vec<f32>,
    greatest: Vec<f32>,
}

/// The pictures of a [`SpanSummary`].
#[derive(Debug, Clone, PartialEq)]
pub struct SpanPictures<Q> {
    /// The mean of the frames.
    pub mean: Frame<Q>,
    /// The least that each pixel had.
    pub least: Frame<Q>,
    /// The greatest that each pixel had: the hold-peak picture.
    pub greatest: Frame<Q>,
}

impl SpanSummary {
    /// Of no frames yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one more frame into the span.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`] for a frame of another size than the first.
    pub fn add<Q>(&mut self, frame: &Frame<Q>) -> Result<(), FrameError> {
        let (expected, found) = (*self.shape.get_or_insert(frame.shape()), frame.shape());
        if expected != found {
            return Err(FrameError::ShapeMismatch { expected, found });
        }
        let values = frame.as_slice();
        self.sums.resize(values.len(), 0.0);
        self.counts.resize(values.len(), 0);
        self.least.resize(values.len(), f32::NAN);
        self.greatest.resize(values.len(), f32::NAN);
        let totals = self.sums.iter_mut().zip(&mut self.counts);
        let extremes = self.least.iter_mut().zip(&mut self.greatest);
        for ((&value, (sum, count)), (least, greatest)) in values.iter().zip(totals).zip(extremes) {
            let valid = !value.is_nan();
            *sum += if valid { f64::from(value) } else { 0.0 };
            *count += u32::from(valid);
            // `min` and `max` leave the number where the other is NaN.
            *least = least.min(value);
            *greatest = greatest.max(value);
        }
        Ok(())
    }

    /// The pictures of the span; `None` before the first frame. `Q` is the quantity of the frames.
    #[must_use]
    pub fn pictures<Q>(&self) -> Option<SpanPictures<Q>> {
        let (rows, columns) = self.shape?;
        let mean = self.sums.iter().zip(&self.counts).map(|(sum, &count)| (sum / f64::from(count)) as f32);
        let picture = |numbers: Vec<f32>| Frame::from_rows(rows, columns, numbers).ok();
        Some(SpanPictures {
            mean: picture(mean.collect())?,
            least: picture(self.least.clone())?,
            greatest: picture(self.greatest.clone())?,
        })
    }
}

/// The rate of change around each sample, in units per second, by least squares over the samples
/// within half of `window_s` on either side; NaN where fewer than two different times lie there.
///
/// `times_s` rises; values that are not finite are left out.
#[must_use]
pub fn rate_of_change(times_s: &[f64], values: &[f64], window_s: f64) -> Vec<f64> {
    let count = times_s.len().min(values.len());
    let (mut first, mut end) = (0, 0);
    (0..count)
        .map(|at| {
            let center = times_s[at];
            while first < at && times_s[first] < center - window_s / 2.0 {
                first += 1;
            }
            while end < count && times_s[end] <= center + window_s / 2.0 {
                end += 1;
            }
            slope(center, &times_s[first..end.max(first)], &values[first..end.max(first)])
        })
        .collect()
}

/// Least-squares slope; NaN where there is none.
pub(super) fn slope(origin: f64, times: &[f64], values: &[f64]) -> f64 {
    let valid = || times.iter().zip(values).filter(|(_, value)| value.is_finite());
    let count = valid().count() as f64;
    let mean_time = valid().map(|(time, _)| time - origin).sum::<f64>() / count;
    let mean_value = valid().map(|(_, value)| value).sum::<f64>() / count;
    let (mut product, mut square) = (0.0, 0.0);
    for (time, value) in valid() {
        let away = time - origin - mean_time;
        product += away * (value - mean_value);
        square += away * away;
    }
    if square > 0.0 { product / square } else { f64::NAN }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    fn counting(add: f32) -> Frame<SurfaceKelvin> {
        let numbers = (0..12).map(|n| if n == 5 { f32::NAN } else { n as f32 + add }).collect();
        Frame::from_rows(3, 4, numbers).unwrap()
    }

    #[test]
    fn places_are_read_with_the_pixel_of_their_extremes() {
        let places = [
            Place::Point(Point::new(3.2, 1.6)),
            Place::Area(Point::new(2.2, 1.9), Point::new(-0.4, -0.4)),
            Place::Line(Point::new(0.0, 0.0), Point::new(2.0, 2.0)),
            Place::Whole,
            Place::Point(Point::new(90.0, 0.0)),
        ];
        let read = PlaceReader::new(&places, (3, 4)).read(&counting(0.0)).unwrap();
        let [point, area, line, whole] = [0, 1, 2, 3].map(|place| read[place].unwrap());
        // Rows 1 and 2, columns 2 and 3: 6 7 10 11.
        assert_eq!((point.least, point.greatest, point.mean, point.pixels), (6.0, 11.0, 8.5, 4));
        assert_eq!((point.least_at, point.greatest_at), ((1, 2), (2, 3)));
        // 0 1 2 4 (5 invalid) 6.
        assert!((area.mean - 2.6).abs() < 1e-6);
        // 0, (5 invalid), 10.
        assert_eq!((line.least, line.greatest, line.pixels), (0.0, 10.0, 2));
        assert_eq!((whole.least_at, whole.greatest_at, whole.pixels), ((0, 0), (2, 3), 11));
        assert_eq!(read[4], None);
    }

    #[test]
    fn a_frame_of_another_size_is_refused() {
        let reader = PlaceReader::new(&[Place::Whole], (4, 3));
        assert!(matches!(reader.read(&counting(0.0)), Err(FrameError::ShapeMismatch { .. })));
    }

    #[test]
    fn a_span_keeps_mean_least_and_greatest_of_each_pixel() {
        let mut span = SpanSummary::new();
        assert!(span.pictures::<SurfaceKelvin>().is_none());
        for add in [1.0, 4.0, 1.0] {
            span.add(&counting(add)).unwrap();
        }
        let pictures = span.pictures::<SurfaceKelvin>().unwrap();
        assert_eq!(pictures.mean.at(2, 3), Some(13.0));
        assert_eq!(pictures.least.at(2, 3), Some(12.0));
        assert_eq!(pictures.greatest.at(2, 3), Some(15.0));
        assert_eq!(pictures.mean.at(1, 1), None);
    }

    #[test]
    fn the_rate_of_a_straight_line_is_its_slope_even_with_gaps() {
        let times = [0.0, 1.0, 2.5, 3.0, 7.0, 8.0];
        let mut values = times.map(|time| 300.0 - 0.25 * time);
        values[2] = f64::NAN;
        let rates = rate_of_change(&times, &values, 4.0);
        assert!(rates.iter().all(|rate| (rate + 0.25).abs() < 1e-9), "{rates:?}");
        assert!(rate_of_change(&[5.0], &[300.0], 4.0)[0].is_nan());
    }
}
