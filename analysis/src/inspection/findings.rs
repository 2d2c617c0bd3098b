//! Connected places of the difference that exceed their tolerance, named and ranked.

use serde::{Deserialize, Serialize};

use super::criteria::Criteria;
use super::neighborhood::mean_of_valid;
use super::spots::{Scene, Spot, spots};
use crate::board::Footprint;
use crate::frame::{Difference, Frame, FrameError};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use crate::units::{KelvinDifference, Millimeters};

/// Warmer or colder than the baseline.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Sign {
    /// The unit is warmer.
    Hotter,
    /// The unit is colder.
    Colder,
}

impl Sign {
    pub(super) const fn factor(self) -> f32 {
        match self {
            Self::Hotter => 1.0,
            Self::Colder => -1.0,
        }
    }
}

/// One place where the unit differs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Warmer or colder.
    pub sign: Sign,
    /// The largest difference, with its sign, K: the mean over 3 × 3 pixels, which is the least area
    /// that a camera reads well (common practice, no source) and which one noisy pixel cannot set.
    pub peak: KelvinDifference,
    /// Where the largest difference is.
    pub peak_at: Point<BaselinePixels>,
    /// Mean difference over the extent at half the peak, with its sign, K.
    pub mean: KelvinDifference,
    /// Centre of that extent, weighted by the difference.
    pub centroid: Point<BaselinePixels>,
    /// Its pixels: those around the peak, joined to it, whose 3 × 3 mean is at least half the peak. For a
    /// Gaussian of σ they are 2π σ² ln 2, a disc of 2.35 σ across.
    pub area_px: u32,
    /// The same in square millimetres, when the scale of the picture is known.
    pub area_mm2: Option<f64>,
    /// Box around the extent: left, top, right, bottom pixel, inclusive.
    pub bounds: [u32; 4],
    /// The part under the peak, or the nearest one within reach.
    pub designator: Option<String>,
    /// Distance from the peak to that part's body, mm; 0 when the peak lies on it.
    pub designator_distance_mm: Option<f64>,
    /// Largest ratio of difference to tolerance.
    pub significance: f64,
}

/// The places where `difference` exceeds `tolerance`, most significant first.
///
/// A place counts when its 3 × 3 mean exceeds the tolerance and at least `least_area_px` of its pixels
/// do so each. Its glow is followed out to half the tolerance. Hot and cold are looked for apart. The glow
/// around a strong place belongs to it: a weaker maximum in the glow is a finding of its own only if it
/// rises above the lowest ground on the best way to the stronger one by more than the tolerance and by
/// 30 % of its own height, when it lies on another part's body, or by 60 % anywhere else. The
/// percentages are our own choice: a body warmed by its neighbor seldom stands out by so much. Area, mean,
/// centre and box are those of the extent at half the peak.
///
/// A finding is named after the smallest body under its peak, else after the nearest within 5 mm.
/// The area in mm² comes from the map of the board where there is one, else from `pixel_pitch`.
/// Findings of equal significance are ranked by the size of their peak.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the two pictures differ in size.
pub fn find(
    difference: &Frame<Difference>,
    tolerance: &Frame<Difference>,
    criteria: &Criteria,
    footprints: &[Footprint],
    board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
    pixel_pitch: Option<Millimeters>,
) -> Result<Vec<Finding>, FrameError> {
    difference.require_same_shape(tolerance)?;
    let smooth = mean_of_valid(difference, 1);
    let (_, columns) = difference.shape();
    let scene = Scene {
        difference: difference.as_slice(),
        smooth: &smooth,
        tolerance: tolerance.as_slice(),
        columns,
    };
    let place = |pixel: usize| Point::new((pixel % columns) as f64, (pixel / columns) as f64);
    let part_at = |pixel: usize| part_under(footprints, place(pixel));
    let picture_to_board = board_to_picture.map(Homography::inverse);
    let mut findings = Vec::new();
    for sign in [Sign::Hotter, Sign::Colder] {
        for spot in spots(&scene, sign, criteria.least_area_px, &part_at) {
            let peak_at = place(spot.top);
            let named = name(footprints, picture_to_board.as_ref(), peak_at);
            findings.push(finding(&spot, sign, smooth[spot.top], peak_at, named, |centroid| {
                picture_to_board
                    .as_ref()
                    .map(|map| map.scale_at(centroid))
                    .or_else(|| pixel_pitch.map(Millimeters::value))
                    .filter(|scale| scale.is_finite())
            }));
        }
    }
    findings.sort_by(|a, b| {
        let by_peak = || b.peak.value().abs().total_cmp(&a.peak.value().abs());
        // The place decides last, so that the same pictures always give the same list.
        let by_place = || (a.peak_at.y, a.peak_at.x).partial_cmp(&(b.peak_at.y, b.peak_at.x));
        b.significance
            .total_cmp(&a.significance)
            .then_with(by_peak)
            .then_with(|| by_place().unwrap_or(std::cmp::Ordering::Equal))
    });
    Ok(findings)
}

/// A part further than this from a peak does not name it, mm.
const NAMING_REACH_MM: f64 = 5.0;

/// The smallest body that covers this place, by its index.
fn part_under(footprints: &[Footprint], place: Point<BaselinePixels>) -> Option<usize> {
    let covering = footprints.iter().enumerate().filter(|(_, footprint)| footprint.contains(place));
    covering.min_by(|(_, a), (_, b)| a.area_mm2().total_cmp(&b.area_mm2())).map(|(index, _)| index)
}

/// The part that a place is named after and its distance in mm.
fn name(
    footprints: &[Footprint],
    picture_to_board: Option<&Homography<BaselinePixels, BoardMillimeters>>,
    place: Point<BaselinePixels>,
) -> Option<(String, f64)> {
    if let Some(footprint) = part_under(footprints, place).and_then(|index| footprints.get(index)) {
        return Some((footprint.designator.clone(), 0.0));
    }
    let on_board = picture_to_board?.apply(place);
    if !(on_board.x.is_finite() && on_board.y.is_finite()) {
        return None;
    }
    footprints
        .iter()
        .map(|footprint| (footprint, footprint.distance_mm(on_board)))
        .filter(|(_, distance)| *distance <= NAMING_REACH_MM)
        .min_by(|(_, a), (_, b)| a.total_cmp(b))
        .map(|(footprint, distance)| (footprint.designator.clone(), distance))
}

fn finding(
    spot: &Spot,
    sign: Sign,
    peak: f32,
    peak_at: Point<BaselinePixels>,
    named: Option<(String, f64)>,
    millimeters_per_pixel: impl Fn(Point<BaselinePixels>) -> Option<f64>,
) -> Finding {
    let area = f64::from(spot.area_px);
    let centroid = Point::new(spot.weighted[0] / spot.sum, spot.weighted[1] / spot.sum);
    let (designator, designator_distance_mm) = named.unzip();
    Finding {
        sign,
        peak: KelvinDifference::known(f64::from(peak)),
        peak_at,
        mean: KelvinDifference::known(f64::from(sign.factor()) * spot.sum / area),
        centroid,
        area_px: spot.area_px,
        area_mm2: millimeters_per_pixel(centroid).map(|scale| area * scale * scale),
        bounds: spot.bounds,
        designator,
        designator_distance_mm,
        significance: f64::from(spot.significance),
    }
}
