//! Which findings are peaks of their own, and which lie on the flank of a surer one.
//!
//! Heat spreads a few centimetres: one part too hot warms its neighbours, and where those stand out too,
//! they are no second fault. A peak counts by itself when it rises over the saddle to every surer one by
//! as much as a finding must rise over nothing: its prominence, as among mountains, over the spread of
//! good boards.

use std::cmp::Ordering;
use std::collections::BinaryHeap;

use super::scales::Scale;
use super::significance::Anomaly;
use crate::geometry::{BaselinePixels, Point};

/// Means of the squares of the finest scale, K; NaN where none is valid.
pub(super) struct Relief<'a> {
    pub(super) scale: Scale,
    pub(super) values: &'a [f32],
}

/// `anomalies`, surest first, with those that do not stand out by `critical` of their own standard
/// uncertainties over the saddle to a surer one joined to it.
pub(super) fn foothills_joined(anomalies: Vec<Anomaly>, relief: &Relief<'_>, critical: f64) -> Vec<Anomaly> {
    let mut peaks: Vec<(Anomaly, Vec<f32>)> = Vec::new();
    let count = anomalies.len();
    for anomaly in anomalies {
        let sign = anomaly.difference.signum();
        let place = relief.square_at(anomaly.peak);
        let stands = |saddle: f32| {
            let prominence = anomaly.difference.abs() - f64::from(saddle);
            prominence > critical * anomaly.standard_uncertainty
        };
        let parent = peaks
            .iter_mut()
            .find(|(peak, saddles)| peak.difference.signum() == sign && !stands(saddles[place]));
        match parent {
            Some((peak, _)) => join(peak, anomaly),
            // With one finding there is nobody to ask for its saddles.
            None if count == 1 => peaks.push((anomaly, Vec::new())),
            None => {
                let saddles = relief.saddles(place, sign as f32);
                peaks.push((anomaly, saddles));
            }
        }
    }
    peaks.into_iter().map(|(peak, _)| peak).collect()
}

fn join(peak: &mut Anomaly, flank: Anomaly) {
    peak.area_px += flank.area_px;
    peak.probability = peak.probability.min(flank.probability);
    let parts = flank.designator.into_iter().chain(flank.also);
    for part in parts {
        if peak.designator.as_ref() != Some(&part) && !peak.also.contains(&part) {
            peak.also.push(part);
        }
    }
}

/// A square and the lowest value on the way there.
struct Reached {
    low: f32,
    square: usize,
}

impl Ord for Reached {
    fn cmp(&self, other: &Self) -> Ordering {
        self.low.total_cmp(&other.low).then(self.square.cmp(&other.square))
    }
}

impl PartialOrd for Reached {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl PartialEq for Reached {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Reached {}

impl Relief<'_> {
    /// The square nearest to a place.
    fn square_at(&self, place: Point<BaselinePixels>) -> usize {
        let nearest = |along: f64, count: usize| {
            let steps = (along - self.scale.radius as f64) / self.scale.step as f64;
            (steps.round().max(0.0) as usize).min(count.saturating_sub(1))
        };
        nearest(place.y, self.scale.rows) * self.scale.columns + nearest(place.x, self.scale.columns)
    }

    /// The lowest value on the highest way from `start` to each square, of `sign` times the values.
    ///
    /// An invalid square lies as high as the way that led to it.
    fn saddles(&self, start: usize, sign: f32) -> Vec<f32> {
        let (rows, columns) = (self.scale.rows, self.scale.columns);
        let mut saddles = vec![f32::NEG_INFINITY; rows * columns];
        let lower = |low: f32, square: usize| {
            let value = sign * self.values[square];
            if value.is_nan() { low } else { low.min(value) }
        };
        let mut waiting = BinaryHeap::from([Reached { low: lower(f32::INFINITY, start), square: start }]);
        while let Some(Reached { low, square }) = waiting.pop() {
            // Below nothing there is no mountain left; a square is first reached on its highest way.
            if low <= saddles[square] || low <= 0.0 {
                continue;
            }
            saddles[square] = low;
            let (row, column) = (square / columns, square % columns);
            for row in row.saturating_sub(1)..(row + 2).min(rows) {
                for column in column.saturating_sub(1)..(column + 2).min(columns) {
                    let next = row * columns + column;
                    let low = lower(low, next);
                    if low > saddles[next] {
                        waiting.push(Reached { low, square: next });
                    }
                }
            }
        }
        // Where no way leads, the land between lies at nothing.
        saddles.iter().map(|saddle| saddle.max(0.0)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn finding(column: f64, difference: f64, part: &str) -> Anomaly {
        Anomaly {
            peak: Point::new(column, 4.0),
            difference,
            standard_uncertainty: 0.2,
            probability: 0.01,
            designator: Some(part.to_owned()),
            nearest: Some(part.to_owned()),
            middle: Point::new(0.0, 0.0),
            area_px: 10,
            also: Vec::new(),
        }
    }

    #[test]
    fn a_flank_is_named_under_its_peak_and_a_second_peak_by_itself() {
        // Peaks of 4, 3 and 3 K at columns 10, 20 and 40; 2.7 K between the first two, 0.5 K before the third.
        let scale = Scale { radius: 0, step: 1, rows: 9, columns: 50 };
        let height = |column: usize| match column {
            10 => 4.0,
            20 | 40 => 3.0,
            0..20 => 2.7,
            _ => 0.5,
        };
        let values: Vec<f32> = (0..9 * 50).map(|square| height(square % 50)).collect();
        let relief = Relief { scale, values: &values };
        let found = || vec![finding(10.0, 4.0, "U1"), finding(20.0, 3.0, "U2"), finding(40.0, 3.0, "U3")];
        // The second rises 0.3 K over the saddle: 1.5 of its uncertainties. The third 2.5 K: 12.5.
        let joined = foothills_joined(found(), &relief, 4.0);
        assert_eq!(joined.len(), 2);
        assert_eq!((joined[0].also.as_slice(), joined[0].area_px), (["U2".to_owned()].as_slice(), 20));
        assert_eq!(joined[1].designator.as_deref(), Some("U3"));
        // A cold place is no flank of a warm one, whatever lies between.
        let cold = vec![finding(10.0, 4.0, "U1"), finding(20.0, -3.0, "U2")];
        assert_eq!(foothills_joined(cold, &relief, 4.0).len(), 2);
        // What stands out by 1.5 uncertainties is enough for a threshold of one.
        assert_eq!(foothills_joined(found(), &relief, 1.0).len(), 3);
    }
}
