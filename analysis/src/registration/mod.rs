//! Bringing the unit under test onto the baseline's pixels.
//!
//! Coarse by phase correlation, fine by a robust photometric fit, both on apparent temperature.
//! An alignment that cannot be trusted is refused with its reason, never returned.

mod phase;
mod pyramid;
mod quality;
mod refine;
mod search;
pub mod smoothing;
mod view_drift;
mod warp;

pub use view_drift::{ReferenceView, ViewDrift};
pub use warp::warp;

use serde::{Deserialize, Serialize};

use crate::frame::{ApparentKelvin, Frame};
use crate::geometry::{BaselinePixels, Homography, Point, UnitPixels};
use crate::homography_fit::{FitError, fit_through};
use pyramid::UnitMap;
use search::{Pictures, Placed};

/// The unit must cover at least this fraction of the baseline.
pub const OVERLAP_NEEDED: f64 = 0.5;
/// The aligned pictures' detail must correlate at least this well. Different boards of the same outline reach
/// about 0.5, by the outline alone.
pub const CONFIDENCE_NEEDED: f64 = 0.6;
/// Agreement at the coarsest level that makes a search unnecessary.
const SURE: f64 = 0.8;
/// How far the found map may bend away from its start: size anywhere in the picture, by this factor.
const LARGEST_STRETCH: f64 = 1.5;
/// A mark set by hand is good to about this, pixels: common practice, no source.
const MARK_ERROR_PX: f64 = 1.0;

/// One place seen in both pictures, marked by a person.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LandmarkPair {
    /// In the unit's capture.
    pub unit: Point<UnitPixels>,
    /// In the baseline.
    pub baseline: Point<BaselinePixels>,
}

/// How the landmarks are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LandmarkUse {
    /// As the starting point of the automatic fit.
    #[default]
    Start,
    /// Instead of it: the map goes by the landmarks alone.
    Override,
}

/// A found alignment and how far to trust it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Alignment {
    /// Unit pixels to baseline pixels.
    pub homography: Homography<UnitPixels, BaselinePixels>,
    /// Estimated root-mean-square error of the alignment over the overlap, pixels.
    pub residual_px: f64,
    /// Fraction of the baseline's pixels that the unit covers, 0 to 1.
    pub overlap: f64,
    /// Correlation of the two aligned pictures' detail, 0 to 1, gain and offset removed.
    pub confidence: f64,
}

/// Which of the two pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Picture {
    /// The unit under test.
    Unit,
    /// The known-good board.
    Baseline,
}

impl std::fmt::Display for Picture {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Unit => "unit",
            Self::Baseline => "baseline",
        })
    }
}

/// Why no alignment is returned.
#[derive(Debug, Clone, PartialEq, thiserror::Error, Serialize, Deserialize)]
pub enum AlignmentRefused {
    /// A picture is too even to say where it lies.
    #[error(
        "the {picture} shows too little detail to align by: its strongest detail is {found_kelvin:.3} K and \
         {needed_kelvin:.3} K would stand out of its noise; check focus and warm-up, or mark landmarks"
    )]
    TooLittleDetail {
        /// Which picture.
        picture: Picture,
        /// Strength of its strongest detail, K.
        found_kelvin: f64,
        /// Strength that would stand out of its noise, K.
        needed_kelvin: f64,
    },
    /// The pictures do not show the same thing, or lie further apart than the search reaches.
    #[error(
        "the unit does not look like the baseline: their detail correlates by {found:.2} where {needed:.2} is \
         needed; check that both show the same board the same way up, or mark landmarks"
    )]
    CorrelationTooLow {
        /// Correlation of the best alignment found.
        found: f64,
        /// Correlation needed.
        needed: f64,
    },
    /// The unit's picture covers too little of the baseline's.
    #[error(
        "the unit's picture covers {found:.2} of the baseline's where {needed:.2} is needed; frame the board alike"
    )]
    TooLittleOverlap {
        /// Fraction covered.
        found: f64,
        /// Fraction needed.
        needed: f64,
    },
    /// The landmarks lie elsewhere than the pictures say.
    #[error(
        "the landmarks contradict the pictures or one another by {found_px:.1} pixels where {allowed_px:.1} are \
         allowed; check them, or let the map go by them alone"
    )]
    LandmarksContradict {
        /// Root-mean-square distance between the marked and the mapped places, pixels.
        found_px: f64,
        /// Distance allowed, pixels.
        allowed_px: f64,
    },
    /// The landmarks do not settle a map.
    #[error("the landmarks do not settle how the unit lies: {0}")]
    Landmarks(#[from] FitError),
    /// The fit left the range of maps that two views of one board can have.
    #[error(
        "the fit ran away: parts of the picture would be stretched by a factor of {stretch:.2} where at most \
         {allowed:.2} is plausible; mark landmarks"
    )]
    FitRanAway {
        /// The strongest stretch or, as its reciprocal, shrinkage.
        stretch: f64,
        /// The strongest plausible one.
        allowed: f64,
    },
}

/// The map that brings `unit` onto the pixels of `baseline`.
///
/// Without landmarks the unit may lie up to ±10° and ±15 % off, beyond a difference in pixel counts of
/// the two pictures. With landmarks as [`LandmarkUse::Start`] they are where the fit begins; as
/// [`LandmarkUse::Override`] the map goes through them and the pictures only tell how good it is.
/// Faults do not pull: smooth differences are taken off and sharp ones get no weight.
///
/// # Shape
/// The pictures may differ in size.
///
/// # Accuracy
/// Mean error over the board below 0.1 pixel for boards with detail well above the noise
/// (`tests/registration.rs`), below 0.02 with all parts in place (`tests/main_job.rs`);
/// [`Alignment::residual_px`] estimates it for the case at hand.
///
/// # Errors
/// Every [`AlignmentRefused`].
pub fn align(
    unit: &Frame<ApparentKelvin>,
    baseline: &Frame<ApparentKelvin>,
    landmarks: &[LandmarkPair],
    landmark_use: LandmarkUse,
) -> Result<Alignment, AlignmentRefused> {
    let marked: Vec<_> = landmarks.iter().map(|pair| (pair.unit, pair.baseline)).collect();
    let pictures = Pictures::new(unit, baseline);
    if landmark_use == LandmarkUse::Override {
        return align_by_landmarks(unit, baseline, &pictures, &marked);
    }

    let [unit_detail, baseline_detail] = pictures.details_to_judge();
    for (picture, frame, detail) in
        [(Picture::Unit, unit, &unit_detail), (Picture::Baseline, baseline, &baseline_detail)]
    {
        let (found_kelvin, needed_kelvin) = quality::strength_of_detail(frame, detail);
        if found_kelvin < needed_kelvin {
            return Err(AlignmentRefused::TooLittleDetail { picture, found_kelvin, needed_kelvin });
        }
    }

    let starts = if marked.is_empty() {
        starts(unit.shape(), baseline.shape())
    } else {
        vec![fit_through(&marked)?.homography]
    };
    let (start, placed) = place(&pictures, &starts)?;
    let overlap = covered(unit, baseline, &placed.map)?;
    let stretch = strongest_stretch(&start, &placed.map, unit.shape());
    if stretch > LARGEST_STRETCH || stretch.is_nan() {
        return Err(AlignmentRefused::FitRanAway { stretch, allowed: LARGEST_STRETCH });
    }
    if !marked.is_empty() {
        let sum: f64 = marked.iter().map(|&(from, to)| placed.map.apply(from).distance(to).powi(2)).sum();
        let found_px = (sum / marked.len() as f64).sqrt();
        let (rows, columns) = baseline.shape();
        let allowed_px = (0.01 * (rows as f64).hypot(columns as f64)).max(4.0);
        if found_px > allowed_px {
            return Err(AlignmentRefused::LandmarksContradict { found_px, allowed_px });
        }
    }
    Ok(Alignment {
        homography: placed.map,
        residual_px: placed.error_px,
        overlap,
        confidence: placed.agreement.clamp(0.0, 1.0),
    })
}

/// The map through the landmarks; the pictures only say how far off it is, where they can.
fn align_by_landmarks(
    unit: &Frame<ApparentKelvin>,
    baseline: &Frame<ApparentKelvin>,
    pictures: &Pictures,
    marked: &[(Point<UnitPixels>, Point<BaselinePixels>)],
) -> Result<Alignment, AlignmentRefused> {
    let through = fit_through(marked)?;
    let map = through.homography;
    let overlap = covered(unit, baseline, &map)?;
    let (confidence, off) = pictures.judge(&map);
    let residual_px = match off {
        Some(off_px) if confidence >= CONFIDENCE_NEEDED => off_px,
        _ => through.rms_distance.max(MARK_ERROR_PX),
    };
    Ok(Alignment { homography: map, residual_px, overlap, confidence: confidence.clamp(0.0, 1.0) })
}

/// The best place from any start, with the start it came from.
fn place(pictures: &Pictures, starts: &[UnitMap]) -> Result<(UnitMap, Placed), AlignmentRefused> {
    let mut best_found: f64 = 0.0;
    let mut attempt = |start: &UnitMap, coarse: &Placed| {
        let placed = pictures.place_finely(coarse)?;
        best_found = best_found.max(placed.agreement);
        (placed.agreement >= CONFIDENCE_NEEDED).then(|| (start.clone(), placed))
    };
    // Where the start is good the search is not needed.
    let direct: Vec<(&UnitMap, Placed)> =
        starts.iter().filter_map(|start| Some((start, pictures.place_coarsely(start)?))).collect();
    let best_direct = direct.iter().max_by(|a, b| a.1.agreement.total_cmp(&b.1.agreement));
    if let Some((start, coarse)) = best_direct.filter(|(_, coarse)| coarse.agreement >= SURE)
        && let Some(found) = attempt(start, coarse)
    {
        return Ok(found);
    }
    let mut candidates = direct;
    for start in starts {
        candidates.extend(pictures.search(start).into_iter().map(|placed| (start, placed)));
    }
    candidates.sort_by(|a, b| b.1.agreement.total_cmp(&a.1.agreement));
    for (start, coarse) in candidates.iter().take(2) {
        if let Some(found) = attempt(start, coarse) {
            return Ok(found);
        }
    }
    Err(AlignmentRefused::CorrelationTooLow { found: best_found, needed: CONFIDENCE_NEEDED })
}

/// Where the unit may lie when nobody says: pixel on pixel about the middle and, for pictures of
/// different size, field of view on field of view.
fn starts(unit: (usize, usize), baseline: (usize, usize)) -> Vec<UnitMap> {
    let centered = |scale: f64| {
        let x = 0.5 * (baseline.1 as f64 - 1.0) - 0.5 * scale * (unit.1 as f64 - 1.0);
        let y = 0.5 * (baseline.0 as f64 - 1.0) - 0.5 * scale * (unit.0 as f64 - 1.0);
        UnitMap::try_from([scale, 0.0, x, 0.0, scale, y, 0.0, 0.0, 1.0]).ok()
    };
    let ratio = baseline.1 as f64 / unit.1 as f64;
    let by_view = if (ratio - 1.0).abs() > 0.02 { centered(ratio) } else { None };
    centered(1.0).into_iter().chain(by_view).collect()
}

/// The overlap, refused where it is too small.
fn covered(
    unit: &Frame<ApparentKelvin>,
    baseline: &Frame<ApparentKelvin>,
    map: &UnitMap,
) -> Result<f64, AlignmentRefused> {
    let found = quality::overlap(unit, baseline.shape(), map);
    if found < OVERLAP_NEEDED {
        return Err(AlignmentRefused::TooLittleOverlap { found, needed: OVERLAP_NEEDED });
    }
    Ok(found)
}

/// By what factor `map` enlarges or shrinks the unit's corners or middle beyond `start`.
fn strongest_stretch(start: &UnitMap, map: &UnitMap, (rows, columns): (usize, usize)) -> f64 {
    let (right, bottom) = (columns as f64 - 1.0, rows as f64 - 1.0);
    [[0.0, 0.0], [right, 0.0], [right, bottom], [0.0, bottom], [0.5 * right, 0.5 * bottom]]
        .map(|place| {
            let factor = map.scale_at(place.into()) / start.scale_at(place.into());
            factor.max(1.0 / factor)
        })
        .into_iter()
        .fold(1.0, |most, factor| if factor.is_nan() { f64::NAN } else { factor.max(most) })
}
