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
    /// That of a difference.
    fn of(difference: KelvinDifference) -> Self {
        if difference.value() < 0.0 { Self::Colder } else { Self::Hotter }
    }

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
    /// How good boards differ here, where the finding was called against their own spread.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chance: Option<Chance>,
}

/// A peak this far from a body lies on the board beside it, mm: blur and misplacement reach less.
const BESIDE_MM: f64 = 1.0;

impl Finding {
    /// Whether the part it is named after lies beside it and does not make it.
    #[must_use]
    pub fn is_beside(&self) -> bool {
        self.designator_distance_mm.is_some_and(|away| away > BESIDE_MM)
    }

    /// Its peak over the spread of good boards there; `None` where it was not called against that.
    #[must_use]
    pub fn times_spread(&self) -> Option<f64> {
        let spread = self.chance.as_ref()?.spread.value();
        Some(self.peak.value().abs() / spread.max(f64::MIN_POSITIVE))
    }

    /// What is probed for it: the part, or a place on the board.
    #[must_use]
    pub fn probe_target(&self) -> String {
        match &self.designator {
            Some(part) if self.is_beside() => format!("board beside {part}"),
            Some(part) => part.clone(),
            None => format!("finding at ({:.0}, {:.0})", self.peak_at.x, self.peak_at.y),
        }
    }
}

/// How surely a finding is more than another good board would show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Chance {
    /// Standard deviation with which one more good board differs there, K.
    pub spread: KelvinDifference,
    /// The probability that a good board shows anything as strong anywhere on it.
    pub probability: f64,
    /// Other parts that stand out only because this place warms or cools them, as far as the picture tells.
    pub bathed: Vec<String>,
    /// Change of the dissipated power and its standard uncertainty, W, where the picture can tell it.
    pub watts: Option<[f64; 2]>,
}

/// A place that was called different by other means than a tolerance.
#[derive(Debug, Clone, PartialEq)]
pub struct CalledPlace {
    /// Where the difference is largest.
    pub peak_at: Point<BaselinePixels>,
    /// The difference there, with its sign, K.
    pub peak: KelvinDifference,
    /// Difference over the least one that would be called there.
    pub significance: f64,
    /// How good boards differ there.
    pub chance: Chance,
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
    let scene = scene(difference, &smooth, tolerance);
    let setting = Setting::new(footprints, board_to_picture, pixel_pitch);
    let part_at = |pixel: usize| part_under(footprints, scene.place(pixel));
    let mut findings = Vec::new();
    for sign in [Sign::Hotter, Sign::Colder] {
        for spot in spots(&scene, sign, criteria.least_area_px, &part_at) {
            let peak = KelvinDifference::known(f64::from(smooth[spot.top]));
            findings.push(setting.finding(&spot, peak, scene.place(spot.top)));
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

/// The findings at places that were called by other means, in the order given: each named, and followed out to
/// half its peak, as [`find`] does.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the two pictures differ in size.
pub fn describe(
    difference: &Frame<Difference>,
    tolerance: &Frame<Difference>,
    places: &[CalledPlace],
    footprints: &[Footprint],
    board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
    pixel_pitch: Option<Millimeters>,
) -> Result<Vec<Finding>, FrameError> {
    difference.require_same_shape(tolerance)?;
    let smooth = mean_of_valid(difference, 1);
    let scene = scene(difference, &smooth, tolerance);
    let setting = Setting::new(footprints, board_to_picture, pixel_pitch);
    let described = places.iter().filter_map(|place| {
        let spot = scene.spot_around(scene.pixel(place.peak_at)?, Sign::of(place.peak));
        let mut finding = setting.finding(&spot, place.peak, place.peak_at);
        let mut chance = place.chance.clone();
        // A place beside a part is named after it: the part itself is then no news.
        chance.bathed.retain(|part| Some(part) != finding.designator.as_ref());
        finding.significance = place.significance;
        finding.chance = Some(chance);
        Some(finding)
    });
    Ok(described.collect())
}

fn scene<'a>(
    difference: &'a Frame<Difference>,
    smooth: &'a [f32],
    tolerance: &'a Frame<Difference>,
) -> Scene<'a> {
    Scene {
        difference: difference.as_slice(),
        smooth,
        tolerance: tolerance.as_slice(),
        columns: difference.shape().1,
    }
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

/// What a spot is measured and named by.
struct Setting<'a> {
    footprints: &'a [Footprint],
    picture_to_board: Option<Homography<BaselinePixels, BoardMillimeters>>,
    pixel_pitch: Option<Millimeters>,
}

impl<'a> Setting<'a> {
    fn new(
        footprints: &'a [Footprint],
        board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
        pixel_pitch: Option<Millimeters>,
    ) -> Self {
        Self { footprints, picture_to_board: board_to_picture.map(Homography::inverse), pixel_pitch }
    }

    fn millimeters_per_pixel(&self, at: Point<BaselinePixels>) -> Option<f64> {
        let by_board = self.picture_to_board.as_ref().map(|map| map.scale_at(at));
        by_board.or_else(|| self.pixel_pitch.map(Millimeters::value)).filter(|scale| scale.is_finite())
    }

    fn finding(&self, spot: &Spot, peak: KelvinDifference, peak_at: Point<BaselinePixels>) -> Finding {
        let area = f64::from(spot.area_px);
        let sign = Sign::of(peak);
        let centroid = Point::new(spot.weighted[0] / spot.sum, spot.weighted[1] / spot.sum);
        let (designator, designator_distance_mm) =
            name(self.footprints, self.picture_to_board.as_ref(), peak_at).unzip();
        Finding {
            sign,
            peak,
            peak_at,
            mean: KelvinDifference::known(f64::from(sign.factor()) * spot.sum / area),
            centroid,
            area_px: spot.area_px,
            area_mm2: self.millimeters_per_pixel(centroid).map(|scale| area * scale * scale),
            bounds: spot.bounds,
            designator,
            designator_distance_mm,
            significance: f64::from(spot.significance),
            chance: None,
        }
    }
}
