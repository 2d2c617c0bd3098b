//! The values of followed places over time, on both sides of the worker.

use std::ops::Range;

use analysis::recorded_frame::PlaceUncertainty;
use analysis::sequence::Timeline;

use super::protocol::Reading;

/// Mean, least and greatest of places in the frames of a span, K; NaN where there is none.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    span: Range<usize>,
    /// Time of each frame, s.
    times_s: Vec<f64>,
    /// Three columns a place.
    columns: Vec<Vec<f32>>,
    /// The standard uncertainty of each; none where nobody worked them out.
    uncertainties: Vec<Vec<f32>>,
}

const READINGS: usize = 3;

const fn column_of(reading: Reading) -> usize {
    match reading {
        Reading::Mean => 0,
        Reading::Least => 1,
        Reading::Greatest => 2,
    }
}

impl Series {
    /// Room for the frames of a span that have a time.
    #[must_use]
    pub fn empty(timeline: &Timeline, span: Range<usize>, places: usize) -> Self {
        let span = span.start.min(timeline.count())..span.end.min(timeline.count());
        let times_s: Vec<f64> = span.clone().filter_map(|frame| timeline.time(frame)).collect();
        let columns = vec![vec![f32::NAN; times_s.len()]; READINGS * places];
        Self { span, times_s, columns, uncertainties: Vec::new() }
    }

    /// As they arrived, first the values, then as many uncertainties; `None` when the columns are not those of the
    /// timeline's frames.
    #[must_use]
    pub fn arrived(timeline: &Timeline, span: Range<usize>, mut columns: Vec<Vec<f32>>) -> Option<Self> {
        let uncertainties = columns.split_off(columns.len() / 2);
        let series = Self { columns, uncertainties, ..Self::empty(timeline, span, 0) };
        let mut all = series.columns.iter().chain(&series.uncertainties);
        all.all(|column| column.len() == series.times_s.len()).then_some(series)
    }

    /// Enters the three readings of a place in the frame `at` of the span.
    pub fn put(&mut self, place: usize, at: usize, readings: [f32; READINGS]) {
        for (column, value) in self.columns.iter_mut().skip(READINGS * place).zip(readings) {
            if let Some(slot) = column.get_mut(at) {
                *slot = value;
            }
        }
    }

    /// How many frames there are.
    #[must_use]
    pub fn frames(&self) -> usize {
        self.times_s.len()
    }

    /// The frames.
    #[must_use]
    pub fn span(&self) -> Range<usize> {
        self.span.clone()
    }

    /// The time of each frame, s.
    #[must_use]
    pub fn times_s(&self) -> &[f64] {
        &self.times_s
    }

    /// All columns: mean, least and greatest of each place in turn, then their uncertainties.
    pub fn columns(&self) -> impl Iterator<Item = &[f32]> {
        self.columns.iter().chain(&self.uncertainties).map(Vec::as_slice)
    }

    /// One reading of a place; empty where there is no such place.
    #[must_use]
    pub fn column(&self, place: usize, reading: Reading) -> &[f32] {
        self.columns.get(READINGS * place + column_of(reading)).map(Vec::as_slice).unwrap_or_default()
    }

    /// The standard uncertainty of one reading of a place, K; empty where it is not known.
    #[must_use]
    pub fn uncertainty(&self, place: usize, reading: Reading) -> &[f32] {
        let column = self.uncertainties.get(READINGS * place + column_of(reading));
        column.map(Vec::as_slice).unwrap_or_default()
    }

    /// Enters how surely the places are known, one for each place.
    pub fn doubt(&mut self, places: &[PlaceUncertainty]) {
        let of_place = |(columns, place): (&[Vec<f32>], &PlaceUncertainty)| match columns {
            [means, least, greatest] => {
                vec![place.of_means(means), place.of_single_pixels(least), place.of_single_pixels(greatest)]
            }
            _ => Vec::new(),
        };
        self.uncertainties = self.columns.chunks(READINGS).zip(places).flat_map(of_place).collect();
    }

    /// Times and values of a place in those frames that are also in `span`.
    #[must_use]
    pub fn of(&self, place: usize, reading: Reading, span: &Range<usize>) -> Option<(Vec<f64>, Vec<f64>)> {
        let column = self.columns.get(READINGS * place + column_of(reading))?;
        let start = span.start.saturating_sub(self.span.start).min(column.len());
        let end = span.end.saturating_sub(self.span.start).clamp(start, column.len());
        let values = column.get(start..end)?.iter().map(|&value| f64::from(value)).collect();
        Some((self.times_s.get(start..end)?.to_vec(), values))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::capture::{CaptureMetadata, FrameTimes};

    #[test]
    fn a_marked_part_of_a_followed_span_is_cut_out() {
        let metadata =
            CaptureMetadata { frame_times: Some(FrameTimes::Interval(0.5)), ..CaptureMetadata::default() };
        let timeline = Timeline::new(&metadata, 20).unwrap();
        let mut series = Series::empty(&timeline, 4..10, 2);
        (0..6).for_each(|at| series.put(1, at, [300.0 + at as f32, 299.0, 310.0]));
        let (times, values) = series.of(1, Reading::Mean, &(6..100)).unwrap();
        assert_eq!(times, [3.0, 3.5, 4.0, 4.5]);
        assert_eq!(values, [302.0, 303.0, 304.0, 305.0]);
        assert!(series.of(2, Reading::Mean, &(0..20)).is_none());
        assert!(series.of(0, Reading::Mean, &(0..2)).unwrap().0.is_empty());
    }
}
