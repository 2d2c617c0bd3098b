//! The main job as two functions: [`align`] brings every capture of a session onto the baseline's
//! pixels, [`judge`] corrects, subtracts and names what differs.
//!
//! They are apart because the first is slow and depends on pixels and landmarks only, while the
//! second follows every change of emissivity or limit.
//!
//! Captures are warped as apparent temperature and corrected afterwards, in the baseline's frame:
//! there one emissivity map serves them all, so an emissivity that is wrong is wrong in the same
//! way on both sides of the subtraction.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::board::{Footprint, footprints};
use crate::capture::{NotMeaningful, apparent_with_table, set_aside_isolated};
use crate::content_hash::ContentHash;
use crate::frame::{
    ApparentKelvin, Difference, EmissivityFraction, EmissivityUncertainty, Frame, FrameError, RawNumber,
    SurfaceKelvin,
};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use crate::homography_fit::{FitError, fit_homography};
use crate::inspection::{
    Basis, Criteria, DifferenceError, Exposure, Finding, PartReading, Probe, difference, find, read_parts,
    suggest_probes, tolerance,
};
use crate::noise::{Pixels, estimate_noise};
use crate::procedure::SoakedMap;
use crate::radiometry::{Band, BandTable, Corrected, Rejected, Surroundings, correct};
use crate::registration::{self, Alignment, AlignmentRefused, LandmarkPair, LandmarkUse};
use crate::session::{BoardLayout, CaptureRecord, Role, Session};
use crate::surface::{
    emissivities_of, emissivity_map, emissivity_uncertainties_of, emissivity_uncertainty_map,
};
use crate::uncertainty::{DifferenceSetting, certainty};
use crate::units::{Kelvin, KelvinDifference, Watts};

/// The pixels of the session's captures, as the files hold them.
pub type Shelf = BTreeMap<ContentHash, Arc<Frame<RawNumber>>>;

/// One capture in the baseline's frame, ready to be corrected.
#[derive(Debug, Clone)]
pub struct Aligned {
    /// Which capture.
    pub hash: ContentHash,
    /// Its apparent temperature on the baseline's pixels.
    pub apparent: Frame<ApparentKelvin>,
    /// How it was brought there; `None` for the first baseline, which is the frame itself.
    pub alignment: Option<Alignment>,
    /// How many isolated pixels of the capture were set aside.
    pub set_aside: usize,
    /// Between temperature and radiance in its band.
    table: Arc<BandTable>,
}

/// A known-good capture that was not used, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LeftOut {
    /// The file's name.
    pub file_name: String,
    /// Why it could not be aligned.
    pub reason: AlignmentRefused,
}

/// How many isolated pixels, which are the detector's and not the scene's, were set aside as invalid.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SetAside {
    /// In the unit's capture.
    pub unit: usize,
    /// In all captures of known-good boards together.
    pub baselines: usize,
}

/// All captures of a session in one frame.
#[derive(Debug, Clone)]
pub struct AlignedCaptures {
    /// The known-good boards, the first one unmoved; at least one.
    pub baselines: Vec<Aligned>,
    /// The unit under test.
    pub unit: Aligned,
    /// Known-good captures that could not be aligned.
    pub left_out: Vec<LeftOut>,
    /// The session's emissivity picture, in the baseline's frame.
    emissivity_picture: Option<Frame<EmissivityFraction>>,
    /// The uncertainty of that picture.
    emissivity_uncertainty_picture: Option<Frame<EmissivityUncertainty>>,
}

/// What the session's captures show.
#[derive(Debug, Clone)]
pub struct Comparison {
    /// The emissivity each pixel was corrected with.
    pub emissivity: Frame<EmissivityFraction>,
    /// Standard uncertainty of that emissivity.
    pub emissivity_uncertainty: Frame<EmissivityUncertainty>,
    /// Mean surface temperature of the known-good boards.
    pub baseline: Frame<SurfaceKelvin>,
    /// How many known-good boards the mean is over.
    pub baseline_count: usize,
    /// The unit's surface temperature.
    pub unit: Frame<SurfaceKelvin>,
    /// Unit minus baseline, on the session's basis.
    pub difference: Frame<Difference>,
    /// Standard uncertainty of the unit's surface temperature, K.
    pub unit_uncertainty: Frame<Difference>,
    /// Standard uncertainty of the difference, K.
    pub difference_uncertainty: Frame<Difference>,
    /// The difference that each pixel must exceed to count.
    pub tolerance: Frame<Difference>,
    /// How the unit was aligned.
    pub alignment: Alignment,
    /// Known-good captures that could not be aligned.
    pub left_out: Vec<LeftOut>,
    /// Standard deviation of the difference's own noise, K: estimated robustly on the picture, or by the
    /// cameras' stated noise where it is too small to tell.
    pub noise: KelvinDifference,
    /// Noise of one pixel of the unit and of one baseline as apparent temperature, K: as stated, or as seen
    /// where that is more.
    pub netd: [KelvinDifference; 2],
    /// What the unit's temperatures were multiplied with before they were subtracted: 1 but at equal power.
    pub unit_gain: f64,
    /// Pixels of the unit that have no temperature, by reason.
    pub rejected: Rejected,
    /// Isolated pixels without a temperature, counted in the captures' own pixels.
    pub set_aside: SetAside,
    /// What differs, most significant first.
    pub findings: Vec<Finding>,
    /// The visible parts' bodies on the picture.
    pub footprints: Vec<Footprint>,
    /// Every placed part on the visible side.
    pub parts: Vec<PartReading>,
    /// What to measure by contact, in order.
    pub probes: Vec<Probe>,
}

impl Comparison {
    /// Half the width of a scale on which everything that counts can be told apart, K: the largest finding,
    /// at least the limit. What stays below its tolerance, such as edges that lie a hair off, does not widen it.
    #[must_use]
    pub fn difference_span(&self, criteria: &Criteria) -> f32 {
        let peaks = self.findings.iter().map(|finding| finding.peak.value().abs());
        peaks.fold(criteria.limit.value().abs(), f64::max) as f32
    }
}

/// What is missing or wrong before a comparison can be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotCompare {
    /// No capture has the baseline role.
    #[error("no known-good capture is named as baseline")]
    NoBaseline,
    /// No capture has the unit role.
    #[error("no capture is named as the unit under test")]
    NoUnit,
    /// The session names a capture whose pixels are not loaded.
    #[error("the pixels of {file_name} are not loaded: load that file again")]
    MissingPixels {
        /// The file's name.
        file_name: String,
    },
    /// The session names an emissivity picture that is not loaded.
    #[error("the emissivity picture is not loaded: load its file again")]
    MissingEmissivityPicture,
    /// A capture's numbers cannot be turned into temperatures.
    #[error("{file_name}: {reason}")]
    NotMeaningful {
        /// The file's name.
        file_name: String,
        /// What is wrong with them.
        reason: NotMeaningful,
    },
    /// The unit cannot be brought onto the baseline.
    #[error("{file_name} could not be aligned with the baseline: {reason}")]
    Alignment {
        /// The file's name.
        file_name: String,
        /// Why.
        reason: AlignmentRefused,
    },
    /// The marked corners give no map of the board.
    #[error("the board's marked corners give no map onto the picture: {0}")]
    Corners(FitError),
    /// The captures cannot be subtracted.
    #[error(transparent)]
    Difference(#[from] DifferenceError),
    /// Two pictures that must agree in size do not.
    #[error(transparent)]
    Shape(#[from] FrameError),
}

/// Brings every capture of the session onto the first baseline's pixels. `on_progress` hears the
/// fraction done, 0 to 1, and the name of the file next in hand.
///
/// A known-good capture that cannot be aligned is left out and named; the unit must align.
///
/// # Errors
/// Every [`CannotCompare`] but those of [`judge`].
pub fn align(
    session: &Session,
    shelf: &Shelf,
    on_progress: &mut dyn FnMut(f64, &str),
) -> Result<AlignedCaptures, CannotCompare> {
    let mut good = session.with_role(Role::Baseline);
    let reference = good.next().ok_or(CannotCompare::NoBaseline)?;
    let unit = session.unit().ok_or(CannotCompare::NoUnit)?;
    let emissivity_picture = stated_picture(&session.surface.map, shelf, emissivities_of)?;
    let emissivity_uncertainty_picture =
        stated_picture(&session.surface.map_uncertainty, shelf, emissivity_uncertainties_of)?;
    let mut tables = Tables::default();

    let steps = (session.with_role(Role::Baseline).count() + 1) as f64;
    on_progress(0.0, &reference.file_name);
    let frame = unmoved(session, shelf, reference, &mut tables)?;
    let mut baselines = vec![frame];
    let mut left_out = Vec::new();
    for (done, record) in (1_u32..).zip(good) {
        on_progress(f64::from(done) / steps, &record.file_name);
        let capture = unmoved(session, shelf, record, &mut tables)?;
        let start = shared_corners(record, reference);
        match onto(capture, &baselines[0], &start, LandmarkUse::Start) {
            Ok(aligned) => baselines.push(aligned),
            Err(reason) => left_out.push(LeftOut { file_name: record.file_name.clone(), reason }),
        }
    }

    on_progress((steps - 1.0) / steps, &unit.file_name);
    let capture = unmoved(session, shelf, unit, &mut tables)?;
    let (start, landmark_use) = if session.landmarks.is_empty() {
        (shared_corners(unit, reference), LandmarkUse::Start)
    } else {
        (session.landmarks.clone(), session.landmark_use)
    };
    let unit = onto(capture, &baselines[0], &start, landmark_use)
        .map_err(|reason| CannotCompare::Alignment { file_name: unit.file_name.clone(), reason })?;
    on_progress(1.0, "");
    Ok(AlignedCaptures { baselines, unit, left_out, emissivity_picture, emissivity_uncertainty_picture })
}

/// The captures of each soak of the unpowered board, on the first baseline's pixels: what
/// [`SoakedMap::map`] works on.
///
/// # Errors
/// As [`on_baseline`].
pub fn soaked_frames(
    session: &Session,
    shelf: &Shelf,
    soaked: &SoakedMap,
    on_progress: &mut dyn FnMut(f64, &str),
) -> Result<Vec<Vec<Frame<ApparentKelvin>>>, CannotCompare> {
    let hashes: Vec<_> = soaked.soaks.iter().flat_map(|soak| soak.captures.iter().cloned()).collect();
    let mut aligned = on_baseline(session, shelf, &hashes, on_progress)?.into_iter();
    let soaks = soaked.soaks.iter();
    Ok(soaks
        .map(|soak| aligned.by_ref().take(soak.captures.len()).map(|capture| capture.apparent).collect())
        .collect())
}

/// Captures of whatever role on the first baseline's pixels, in the order asked for.
///
/// A board of one temperature shows little to align by, and other things than a powered one; where the
/// fit is refused, four or more places that both captures' metadata name stand in for it.
///
/// # Errors
/// Every [`CannotCompare`] but those of [`judge`]; no unit is needed.
pub fn on_baseline(
    session: &Session,
    shelf: &Shelf,
    hashes: &[ContentHash],
    on_progress: &mut dyn FnMut(f64, &str),
) -> Result<Vec<Aligned>, CannotCompare> {
    let reference = session.with_role(Role::Baseline).next().ok_or(CannotCompare::NoBaseline)?;
    let mut tables = Tables::default();
    let frame = unmoved(session, shelf, reference, &mut tables)?;
    let mut all = Vec::with_capacity(hashes.len());
    for (done, hash) in hashes.iter().enumerate() {
        let record = session
            .capture(hash)
            .ok_or_else(|| CannotCompare::MissingPixels { file_name: format!("capture {hash}") })?;
        on_progress(done as f64 / hashes.len() as f64, &record.file_name);
        if record.hash == reference.hash {
            all.push(frame.clone());
            continue;
        }
        let places = shared_corners(record, reference);
        let capture = unmoved(session, shelf, record, &mut tables)?;
        let aligned = match onto(capture.clone(), &frame, &places, LandmarkUse::Start) {
            Err(_) if places.len() >= 4 => onto(capture, &frame, &places, LandmarkUse::Override),
            other => other,
        };
        all.push(
            aligned
                .map_err(|reason| CannotCompare::Alignment { file_name: record.file_name.clone(), reason })?,
        );
    }
    Ok(all)
}

/// An aligned capture as surface temperature, with the session's surface and surroundings.
///
/// # Errors
/// [`CannotCompare::Shape`] when the emissivities are of another size.
pub fn surface_of(
    session: &Session,
    capture: &Aligned,
    emissivity: &Frame<EmissivityFraction>,
) -> Result<Corrected, CannotCompare> {
    Ok(correct(&capture.apparent, emissivity, &surroundings(session, &capture.hash), &capture.table)?)
}

/// The emissivity of every pixel of the baseline, as the session states it.
///
/// # Errors
/// [`CannotCompare::MissingEmissivityPicture`], [`CannotCompare::Corners`] and [`CannotCompare::Shape`].
pub fn emissivity_of_baseline(
    session: &Session,
    shelf: &Shelf,
    shape: (usize, usize),
) -> Result<Frame<EmissivityFraction>, CannotCompare> {
    let picture = stated_picture(&session.surface.map, shelf, emissivities_of)?;
    let board_to_picture = board_to_picture(&session.layout)?;
    Ok(emissivity_map(&session.surface, shape, board_to_picture.as_ref(), picture.as_ref())?)
}

/// Corrects, subtracts, finds and names. `on_step` hears what is next in hand.
///
/// # Errors
/// [`CannotCompare::Corners`], [`CannotCompare::Difference`] and [`CannotCompare::Shape`].
pub fn judge(
    session: &Session,
    captures: &AlignedCaptures,
    on_step: &mut dyn FnMut(&str),
) -> Result<Comparison, CannotCompare> {
    let Some(reference) = captures.baselines.first() else {
        return Err(CannotCompare::NoBaseline);
    };
    let alignment = captures.unit.alignment.clone().ok_or(CannotCompare::NoUnit)?;
    let board_to_picture = board_to_picture(&session.layout)?;
    on_step("Laying emissivities");
    let emissivity = emissivity_map(
        &session.surface,
        reference.apparent.shape(),
        board_to_picture.as_ref(),
        captures.emissivity_picture.as_ref(),
    )?;
    let emissivity_uncertainty = emissivity_uncertainty_map(
        &session.surface,
        reference.apparent.shape(),
        board_to_picture.as_ref(),
        captures.emissivity_uncertainty_picture.as_ref(),
    )?;

    on_step("Correcting");
    let corrected = |capture| surface_of(session, capture, &emissivity);
    let good = captures.baselines.iter().map(corrected).collect::<Result<Vec<_>, _>>()?;
    let unit = corrected(&captures.unit)?;

    let exposure = |capture: &Aligned, temperature| {
        let (ambient, power) = conditions(session, &capture.hash);
        Exposure { temperature, ambient, power }
    };
    let good_exposures: Vec<_> = captures
        .baselines
        .iter()
        .zip(&good)
        .map(|(capture, corrected)| exposure(capture, &corrected.temperature))
        .collect();
    let unit_exposure = exposure(&captures.unit, &unit.temperature);
    on_step("Subtracting");
    let map = difference(&good_exposures, &unit_exposure, session.criteria.basis)?;

    let noise = estimate_noise(&map.difference, Pixels::Interpolated);
    let stated = [&captures.unit, reference].map(|capture| netd(session, &capture.hash));
    let seen = seen_noise(&captures.unit.apparent, &reference.apparent);
    let [unit_netd, baseline_netd] = at_least_as_seen(stated, seen);
    on_step("Weighing uncertainties");
    let certainty = certainty(
        &DifferenceSetting {
            unit: &unit.temperature,
            baseline: &map.baseline,
            baseline_apparent: &reference.apparent,
            baselines: good.len(),
            emissivity: &emissivity,
            emissivity_uncertainty: &emissivity_uncertainty,
            unit_surroundings: &surroundings(session, &captures.unit.hash),
            baseline_surroundings: &surroundings(session, &reference.hash),
            unit_table: &captures.unit.table,
            baseline_table: &reference.table,
            unit_netd,
            baseline_netd,
            residual_px: alignment.residual_px,
            above_ambient: session.criteria.basis != Basis::Absolute,
            unit_gain: map.unit_gain,
        },
        &session.input_uncertainty,
    )?;
    let tolerance = tolerance(&certainty.between_equals, map.spread.as_ref(), &session.criteria)?;
    on_step("Finding");
    let footprints = board_to_picture
        .as_ref()
        .map(|map| footprints(&session.layout.placements, session.layout.side, map))
        .unwrap_or_default();
    let pixel_pitch = session.capture(&reference.hash).and_then(|record| record.metadata.pixel_pitch);
    let findings = find(
        &map.difference,
        &tolerance,
        &session.criteria,
        &footprints,
        board_to_picture.as_ref(),
        pixel_pitch,
    )?;
    on_step("Reading parts");
    let parts =
        read_parts(&unit.temperature, &map.difference, &tolerance, &footprints, &session.layout.limits)?;
    let probes = suggest_probes(&findings, &parts, &session.layout.placements);

    Ok(Comparison {
        emissivity,
        emissivity_uncertainty,
        baseline: map.baseline,
        baseline_count: good.len(),
        unit: unit.temperature,
        difference: map.difference,
        unit_uncertainty: certainty.unit,
        difference_uncertainty: certainty.difference,
        tolerance,
        alignment,
        left_out: captures.left_out.clone(),
        noise: noise.unwrap_or_else(|| of_difference([unit_netd, baseline_netd], good.len())),
        netd: [unit_netd, baseline_netd],
        unit_gain: map.unit_gain,
        rejected: unit.rejected,
        set_aside: SetAside {
            unit: captures.unit.set_aside,
            baselines: captures.baselines.iter().map(|baseline| baseline.set_aside).sum(),
        },
        findings,
        footprints,
        parts,
        probes,
    })
}

/// The map from board millimetres to baseline pixels, once four corners are marked.
///
/// # Errors
/// [`CannotCompare::Corners`] when the corners lie on a line or on one another.
pub fn board_to_picture(
    layout: &BoardLayout,
) -> Result<Option<Homography<BoardMillimeters, BaselinePixels>>, CannotCompare> {
    if layout.corners.len() < 4 {
        return Ok(None);
    }
    let pairs: Vec<_> = layout.corners.iter().map(|corner| (corner.board, corner.pixel)).collect();
    fit_homography(&pairs).map(Some).map_err(CannotCompare::Corners)
}

/// What surrounded a capture: the session's surroundings, with the reflected temperature that was
/// measured for this capture where there is one.
#[must_use]
pub fn surroundings(session: &Session, hash: &ContentHash) -> Surroundings {
    let own = session.capture(hash).and_then(|record| record.metadata.reflected);
    Surroundings { reflected: own.unwrap_or(session.surroundings.reflected), ..session.surroundings }
}

/// A capture's own ambient and power, or the session's where it states none.
fn conditions(session: &Session, hash: &ContentHash) -> (Kelvin, Option<Watts>) {
    let own = session.capture(hash).map(|record| &record.metadata);
    let ambient = own.and_then(|metadata| metadata.ambient).unwrap_or(session.ambient);
    let power = own.and_then(|metadata| metadata.conditions.power()).or_else(|| session.conditions.power());
    (ambient, power)
}

/// The band of the camera at the bench: of the first known-good capture, else the session's.
#[must_use]
pub fn band_at_the_bench(session: &Session) -> Band {
    let reference = session.with_role(Role::Baseline).next();
    reference.and_then(|record| record.metadata.band).unwrap_or(session.band)
}

/// The noise of one pixel of a capture as stated, or as usual where it states none.
#[must_use]
pub fn netd(session: &Session, hash: &ContentHash) -> KelvinDifference {
    let own = session.capture(hash).and_then(|record| record.metadata.netd);
    own.unwrap_or(session.input_uncertainty.netd)
}

/// The noise of unit minus the mean of n baselines: √(`NETD_unit`² + `NETD_baseline`² / n).
fn of_difference([unit, baseline]: [KelvinDifference; 2], baselines: usize) -> KelvinDifference {
    let noise = unit.value().hypot(baseline.value() / (baselines.max(1) as f64).sqrt());
    KelvinDifference::new(noise).unwrap_or(KelvinDifference::ZERO)
}

/// The noise of unit minus baseline as the camera sees them, measured on the two pictures.
fn seen_noise(unit: &Frame<ApparentKelvin>, baseline: &Frame<ApparentKelvin>) -> Option<KelvinDifference> {
    let mut apart = unit.view().to_owned();
    apart.zip_mut_with(&baseline.view(), |value, &baseline| *value -= baseline);
    estimate_noise(&Frame::<Difference>::new(apart).ok()?, Pixels::Interpolated)
}

/// What a camera is said to do is believed until its pictures, unit minus one baseline, say worse.
fn at_least_as_seen(stated: [KelvinDifference; 2], seen: Option<KelvinDifference>) -> [KelvinDifference; 2] {
    let expected = of_difference(stated, 1).value();
    let seen = seen.map_or(0.0, KelvinDifference::value);
    if expected <= 0.0 {
        let share = KelvinDifference::new(seen * std::f64::consts::FRAC_1_SQRT_2);
        return [share.unwrap_or(KelvinDifference::ZERO); 2];
    }
    let factor = (seen / expected).max(1.0);
    stated.map(|netd| KelvinDifference::new(netd.value() * factor).unwrap_or(netd))
}

/// A capture in its own pixels, as apparent temperature, without isolated pixels: warping would spread them.
fn unmoved(
    session: &Session,
    shelf: &Shelf,
    record: &CaptureRecord,
    tables: &mut Tables,
) -> Result<Aligned, CannotCompare> {
    let pixels = shelf
        .get(&record.hash)
        .ok_or_else(|| CannotCompare::MissingPixels { file_name: record.file_name.clone() })?;
    let table = tables.for_band(record.metadata.band.unwrap_or(session.band));
    let apparent = apparent_with_table(pixels, &record.metadata, &table)
        .map_err(|reason| CannotCompare::NotMeaningful { file_name: record.file_name.clone(), reason })?;
    let (apparent, set_aside) = set_aside_isolated(apparent);
    Ok(Aligned { hash: record.hash.clone(), apparent, alignment: None, set_aside, table })
}

fn onto(
    capture: Aligned,
    reference: &Aligned,
    landmarks: &[LandmarkPair],
    landmark_use: LandmarkUse,
) -> Result<Aligned, AlignmentRefused> {
    let alignment = registration::align(&capture.apparent, &reference.apparent, landmarks, landmark_use)?;
    let apparent = registration::warp(&capture.apparent, &alignment.homography, reference.apparent.shape());
    Ok(Aligned { apparent, alignment: Some(alignment), ..capture })
}

/// Places of the board that both captures' metadata name: a start for the alignment.
fn shared_corners(record: &CaptureRecord, reference: &CaptureRecord) -> Vec<LandmarkPair> {
    let corners = record.metadata.corners.iter();
    corners
        .filter_map(|own| {
            let same = reference.metadata.corners.iter().find(|other| other.board == own.board)?;
            Some(LandmarkPair {
                unit: Point::new(own.pixel.x, own.pixel.y),
                baseline: Point::new(same.pixel.x, same.pixel.y),
            })
        })
        .collect()
}

/// A picture that states a property of the surface, where the session names one.
fn stated_picture<Q>(
    hash: &Option<ContentHash>,
    shelf: &Shelf,
    read: fn(&Frame<RawNumber>) -> Frame<Q>,
) -> Result<Option<Frame<Q>>, CannotCompare> {
    let Some(hash) = hash else { return Ok(None) };
    let pixels = shelf.get(hash).ok_or(CannotCompare::MissingEmissivityPicture)?;
    Ok(Some(read(pixels)))
}

/// One table a band: building one takes longer than correcting a picture with it.
#[derive(Default)]
struct Tables(Vec<Arc<BandTable>>);

impl Tables {
    fn for_band(&mut self, band: Band) -> Arc<BandTable> {
        if let Some(table) = self.0.iter().find(|table| table.band() == band) {
            return Arc::clone(table);
        }
        let table = Arc::new(BandTable::new(band));
        self.0.push(Arc::clone(&table));
        table
    }
}
