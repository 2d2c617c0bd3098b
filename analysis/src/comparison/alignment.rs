//! The slow half of the main job: every capture of a session on the first baseline's pixels.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::CannotCompare;
use crate::capture::{apparent_with_table, set_aside_isolated};
use crate::content_hash::ContentHash;
use crate::frame::{ApparentKelvin, EmissivityFraction, EmissivityUncertainty, Frame, RawNumber};
use crate::geometry::Point;
use crate::procedure::SoakedMap;
use crate::radiometry::{Band, BandTable};
use crate::registration::{self, Alignment, AlignmentRefused, LandmarkPair, LandmarkUse};
use crate::session::{CaptureRecord, Role, Session};
use crate::surface::{emissivities_of, emissivity_uncertainties_of};

/// The pixels of the session's captures, as the files hold them.
pub type Shelf = BTreeMap<ContentHash, Arc<Frame<RawNumber>>>;

/// One capture in the baseline's frame, ready to be corrected.
#[derive(Debug, Clone)]
pub struct Aligned {
    /// Which capture.
    pub hash: ContentHash,
    /// Its apparent temperature on the baseline's pixels.
    pub apparent: Frame<ApparentKelvin>,
    /// How it was brought there; `None` for the capture that is the frame itself.
    pub alignment: Option<Alignment>,
    /// How many isolated pixels of the capture were set aside.
    pub set_aside: usize,
    /// Between temperature and radiance in its band.
    pub(super) table: Arc<BandTable>,
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

/// The known-good boards of a session in one frame, with the pictures that state emissivities there.
#[derive(Debug, Clone)]
pub struct GoodBoards {
    /// The captures, the first one unmoved; at least one.
    pub(super) captures: Vec<Aligned>,
    /// Those that could not be aligned.
    pub left_out: Vec<LeftOut>,
    /// The session's emissivity picture.
    pub(super) emissivity_picture: Option<Frame<EmissivityFraction>>,
    /// The uncertainty of that picture.
    pub(super) emissivity_uncertainty_picture: Option<Frame<EmissivityUncertainty>>,
}

impl GoodBoards {
    /// The captures, the first one unmoved.
    #[must_use]
    pub fn captures(&self) -> &[Aligned] {
        &self.captures
    }

    /// The capture in whose frame everything lies.
    pub(super) fn reference(&self) -> Result<&Aligned, CannotCompare> {
        self.captures.first().ok_or(CannotCompare::NoBaseline)
    }
}

/// Brings every known-good capture of the session onto the first one's pixels. `on_progress` hears the
/// fraction done, 0 to 1, and the name of the file next in hand.
///
/// One that cannot be aligned is left out and named.
///
/// # Errors
/// [`CannotCompare::NoBaseline`], [`CannotCompare::MissingPixels`], [`CannotCompare::NotMeaningful`] and
/// [`CannotCompare::MissingEmissivityPicture`].
pub fn align_good(
    session: &Session,
    shelf: &Shelf,
    on_progress: &mut dyn FnMut(f64, &str),
) -> Result<GoodBoards, CannotCompare> {
    let mut good = session.with_role(Role::Baseline);
    let reference = good.next().ok_or(CannotCompare::NoBaseline)?;
    let emissivity_picture = stated_picture(&session.surface.map, shelf, emissivities_of)?;
    let emissivity_uncertainty_picture =
        stated_picture(&session.surface.map_uncertainty, shelf, emissivity_uncertainties_of)?;
    let mut tables = Tables::default();

    let steps = session.with_role(Role::Baseline).count() as f64;
    on_progress(0.0, &reference.file_name);
    let mut captures = vec![unmoved(session, shelf, reference, &mut tables)?];
    let mut left_out = Vec::new();
    for (done, record) in (1_u32..).zip(good) {
        on_progress(f64::from(done) / steps, &record.file_name);
        let capture = unmoved(session, shelf, record, &mut tables)?;
        let start = shared_corners(record, reference);
        match onto(capture, &captures[0], &start, LandmarkUse::Start) {
            Ok(aligned) => captures.push(aligned),
            Err(reason) => left_out.push(LeftOut { file_name: record.file_name.clone(), reason }),
        }
    }
    on_progress(1.0, "");
    Ok(GoodBoards { captures, left_out, emissivity_picture, emissivity_uncertainty_picture })
}

/// Brings the unit under test onto the first known-good board's pixels.
///
/// # Errors
/// [`CannotCompare::NoUnit`], [`CannotCompare::MissingPixels`], [`CannotCompare::NotMeaningful`] and
/// [`CannotCompare::Alignment`].
pub fn align_unit(session: &Session, shelf: &Shelf, good: &GoodBoards) -> Result<Aligned, CannotCompare> {
    let reference = good.reference()?;
    let unit = session.unit().ok_or(CannotCompare::NoUnit)?;
    let mut tables = Tables(vec![Arc::clone(&reference.table)]);
    let capture = unmoved(session, shelf, unit, &mut tables)?;
    let (start, landmark_use) = if session.landmarks.is_empty() {
        let start = session.capture(&reference.hash).map(|record| shared_corners(unit, record));
        (start.unwrap_or_default(), LandmarkUse::Start)
    } else {
        (session.landmarks.clone(), session.landmark_use)
    };
    onto(capture, reference, &start, landmark_use)
        .map_err(|reason| CannotCompare::Alignment { file_name: unit.file_name.clone(), reason })
}

/// The unit under test in its own pixels: where there is no known-good board, everything lies on them.
///
/// # Errors
/// [`CannotCompare::NoUnit`], [`CannotCompare::MissingPixels`] and [`CannotCompare::NotMeaningful`].
pub fn unit_alone(session: &Session, shelf: &Shelf) -> Result<Aligned, CannotCompare> {
    unmoved(session, shelf, session.unit().ok_or(CannotCompare::NoUnit)?, &mut Tables::default())
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
/// Those of [`align_good`], and [`CannotCompare::Alignment`].
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
pub(super) fn stated_picture<Q>(
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
