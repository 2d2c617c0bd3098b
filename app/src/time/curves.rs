//! Which of the followed places are shown as curves, and how.

use std::collections::BTreeSet;
use std::ops::Range;

use leptos::prelude::*;
use plotters::style::RGBColor;

use super::desk::Trends;
use super::protocol::Reading;

/// Published colours for kinds of things, chosen to be told apart; beyond them lines are dashed.
const COLORS: [colorous::Color; 8] = colorous::SET2;
/// So many parts are shown at first: those that change most.
const PARTS_AT_FIRST: usize = 4;

/// A curve: a place and which of its values.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    /// What a person reads.
    pub name: String,
    /// The place, by its number among the followed.
    pub place: usize,
    /// Which of its values; `None` for the one chosen for all places.
    pub fixed: Option<Reading>,
}

impl Curve {
    /// Its series, where places are shown by `reading`.
    #[must_use]
    pub fn series(&self, reading: Reading) -> (usize, Reading) {
        (self.place, self.fixed.unwrap_or(reading))
    }
}

/// What a chart over time shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    /// How warm.
    Temperature,
    /// How fast that changes.
    Rate,
}

/// What is chosen, provided as a context.
#[derive(Debug, Clone, Copy)]
pub struct Chosen {
    /// The places that are shown, by their curves' names.
    pub names: RwSignal<BTreeSet<String>>,
    /// Which value of each place.
    pub reading: RwSignal<Reading>,
    /// Whether only the marked span is shown.
    pub only_span: RwSignal<bool>,
    /// What the chart shows of them.
    pub measure: RwSignal<Shows>,
    /// Whether the chart shows how surely temperatures are known.
    pub band: RwSignal<bool>,
    /// Whether table and files have columns of standard uncertainties.
    pub uncertainties: RwSignal<bool>,
    /// Whether they have columns of rates of change.
    pub rates: RwSignal<bool>,
    /// A level that is watched, K, for the chart.
    pub level: RwSignal<Option<f64>>,
}

impl Chosen {
    /// Nothing chosen yet.
    #[must_use]
    pub fn new() -> Self {
        Self {
            names: RwSignal::new(BTreeSet::new()),
            reading: RwSignal::new(Reading::Mean),
            only_span: RwSignal::new(false),
            measure: RwSignal::new(Shows::Temperature),
            band: RwSignal::new(true),
            uncertainties: RwSignal::new(false),
            rates: RwSignal::new(false),
            level: RwSignal::new(None),
        }
    }

    /// The reading of a curve. Reactive.
    #[must_use]
    pub fn reading_of(self, curve: &Curve) -> Reading {
        curve.fixed.unwrap_or_else(|| self.reading.get())
    }

    /// The curves that are shown. Reactive.
    #[must_use]
    pub fn shown(self, trends: &Trends) -> Vec<Curve> {
        self.names
            .with(|names| curves(trends).into_iter().filter(|curve| names.contains(&curve.name)).collect())
    }

    /// Shows a curve, or no longer.
    pub fn show(self, name: String, shown: bool) {
        self.names.update(|names| {
            if shown {
                names.insert(name);
            } else {
                names.remove(&name);
            }
        });
    }
}

impl Default for Chosen {
    fn default() -> Self {
        Self::new()
    }
}

/// All curves of the followed places: the hottest and the coldest pixel, the picture's mean, then place by place.
#[must_use]
pub fn curves(trends: &Trends) -> Vec<Curve> {
    let whole = [
        ("Hottest pixel", Reading::Greatest),
        ("Coldest pixel", Reading::Least),
        ("Picture, mean", Reading::Mean),
    ];
    let whole = whole.map(|(name, reading)| Curve { name: name.to_owned(), place: 0, fixed: Some(reading) });
    let places = trends.names.iter().enumerate().skip(1);
    let places = places.map(|(place, name)| Curve { name: name.clone(), place, fixed: None });
    whole.into_iter().chain(places).collect()
}

/// The curves to begin with: the hottest pixel, every read-out, and the parts that change most.
#[must_use]
pub fn curves_at_first(trends: &Trends) -> BTreeSet<String> {
    let change = |place: usize| {
        let valid = trends.series.column(place, Reading::Mean).iter().filter(|value| !value.is_nan());
        let (lo, hi) = valid.fold((f32::INFINITY, f32::NEG_INFINITY), |(lo, hi), v| (lo.min(*v), hi.max(*v)));
        hi - lo
    };
    let is_part = |place: usize| trends.parts.get(place).copied().unwrap_or(false);
    let mut parts: Vec<usize> = (1..trends.names.len()).filter(|place| is_part(*place)).collect();
    parts.sort_by(|a, b| change(*b).total_cmp(&change(*a)));
    let parts = parts.into_iter().take(PARTS_AT_FIRST).filter_map(|place| trends.names.get(place));
    let names = read_outs(trends).chain(parts).cloned();
    std::iter::once("Hottest pixel".to_owned()).chain(names).collect()
}

/// The names of the places that are no parts: what the person put on the picture.
pub fn read_outs(trends: &Trends) -> impl Iterator<Item = &String> {
    let is_part = |place: usize| trends.parts.get(place).copied().unwrap_or(false);
    trends.names.iter().enumerate().skip(1).filter(move |(place, _)| !is_part(*place)).map(|(_, name)| name)
}

/// The span over which a rate is taken, s: long enough for some frames, however far apart they are.
#[must_use]
pub fn rate_window_s(times_s: &[f64]) -> f64 {
    const LEAST_S: f64 = 10.0;
    const FRAMES: f64 = 4.0;
    let interval = match times_s {
        [first, .., last] => (last - first) / (times_s.len() - 1) as f64,
        _ => 0.0,
    };
    (FRAMES * interval).max(LEAST_S)
}

/// The colour of the curve that is the so-manyth shown, and whether it is dashed.
#[must_use]
pub const fn line_of(shown: usize) -> (RGBColor, bool) {
    let colorous::Color { r, g, b } = COLORS[shown % COLORS.len()];
    (RGBColor(r, g, b), (shown / COLORS.len()) % 2 == 1)
}

/// A curve's points for drawing, no more than about two for each pixel across: where there are more, the least
/// and the greatest of each stretch, so that no peak is lost.
#[must_use]
pub fn thinned(times: &[f64], values: &[f32], range: Range<usize>, most: usize) -> Vec<(f64, f32)> {
    let range = range.start.min(times.len())..range.end.min(times.len()).min(values.len());
    let points: Vec<(f64, f32)> = times
        .get(range.clone())
        .unwrap_or_default()
        .iter()
        .copied()
        .zip(values.get(range).unwrap_or_default().iter().copied())
        .filter(|(_, value)| !value.is_nan())
        .collect();
    let stretch = points.len().div_ceil(most.max(1));
    if stretch <= 2 {
        return points;
    }
    let of_stretch = |stretch: &[(f64, f32)]| {
        let by_value = |a: &&(f64, f32), b: &&(f64, f32)| a.1.total_cmp(&b.1);
        let least = stretch.iter().min_by(by_value).copied();
        let greatest = stretch.iter().max_by(by_value).copied();
        match (least, greatest) {
            (Some(a), Some(b)) if a.0 <= b.0 => [a, b],
            (Some(a), Some(b)) => [b, a],
            _ => [(f64::NAN, f32::NAN); 2],
        }
    };
    points.chunks(stretch).flat_map(of_stretch).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_curve_stands_out_from_the_dark_ground_as_a_graphic_must() {
        // Relative luminance and the least contrast of graphics, 3:1: WCAG 2.2, 1.4.11. The ground is #1a1d21.
        let luminance = |channels: [u8; 3]| {
            let linear = channels.map(|channel| {
                let share = f64::from(channel) / 255.0;
                if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
            });
            0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        };
        let ground = luminance([0x1a, 0x1d, 0x21]);
        for shown in 0..COLORS.len() {
            let RGBColor(r, g, b) = line_of(shown).0;
            let contrast = (luminance([r, g, b]) + 0.05) / (ground + 0.05);
            assert!(contrast >= 3.0, "{shown}: {contrast:.2}");
        }
        assert!(!line_of(7).1 && line_of(8).1);
    }

    #[test]
    fn thinning_keeps_every_peak_and_leaves_short_series_alone() {
        let times: Vec<f64> = (0..1000).map(f64::from).collect();
        let mut values = vec![300.0; 1000];
        values[613] = 350.0;
        values[614] = f32::NAN;
        let thin = thinned(&times, &values, 0..1000, 50);
        assert!(thin.len() <= 100 && thin.contains(&(613.0, 350.0)));
        assert_eq!(thinned(&times, &values, 610..620, 50).len(), 9);
    }
}
