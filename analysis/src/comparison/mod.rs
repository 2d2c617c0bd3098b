//! The main job in four steps: [`align_good`] brings the known-good boards into one frame, [`learn`] says
//! what they have in common and how they differ, [`align_unit`] brings the unit there, and [`judge`]
//! corrects, subtracts and names what differs. [`compare`] is all four.
//!
//! They are apart because each depends on less than the next: units that follow one another share the first
//! two, and a changed limit repeats only the last.
//!
//! Captures are warped as apparent temperature and corrected afterwards, in the baseline's frame:
//! there one emissivity map serves them all, so an emissivity that is wrong is wrong in the same
//! way on both sides of the subtraction.

mod against_spread;
mod alignment;
mod among_twins;
mod conditions;
mod expected_readings;
mod judgement;
mod part_power;
mod probe_need;
mod repair;
mod suggestion;
mod survey;
mod twin_probes;
mod twin_words;
mod warmest_air;
mod whole_unit;

pub use against_spread::{AgainstSpread, JudgedBy};
pub use alignment::{
    Aligned, GoodBoards, LeftOut, SetAside, Shelf, align_good, align_unit, on_baseline, soaked_frames,
    unit_alone,
};
pub use among_twins::{CannotCheckTwins, LoneUnit, TwinReport, can_check_twins, check_twins};
pub use conditions::{ambient_of, band_at_the_bench, netd, surroundings};
pub use expected_readings::{ExpectedReading, expected_readings};
pub use judgement::{LearnedBaseline, emissivity_of_baseline, judge, learn, surface_of};
pub use probe_need::{Needless, by_need};
pub use repair::{Became, PlaceChange, before_and_after};
pub use suggestion::{Suggestion, suggest};
pub use survey::{UnitSurvey, survey};
pub use twin_probes::probes_among_twins;
pub use twin_words::{
    how_many_stand_out, kind_of_twins, left_open, name_of_standing, standing_out, stands_out,
    suggest_among_twins, who_of_kind,
};
pub use warmest_air::in_warmest_air;
pub use whole_unit::whole_unit;

use crate::board::Footprint;
use crate::capture::NotMeaningful;
use crate::content_hash::ContentHash;
use crate::frame::{Difference, EmissivityFraction, EmissivityUncertainty, Frame, FrameError, SurfaceKelvin};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography};
use crate::homography_fit::{FitError, fit_homography};
use crate::inspection::{Criteria, DifferenceError, Finding, PartReading, Probe};
use crate::radiometry::Rejected;
use crate::registration::{Alignment, AlignmentRefused};
use crate::session::{BoardLayout, Session};
use crate::units::KelvinDifference;

/// What the session's captures show.
#[derive(Debug, Clone)]
pub struct Comparison {
    /// The capture that the unit is judged by.
    pub unit_capture: ContentHash,
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
    /// Unit minus baseline, on the session's basis, or with what the bench and the unit as a whole changed
    /// taken out ([`AgainstSpread::nuisance`]).
    pub difference: Frame<Difference>,
    /// Standard uncertainty of the unit's surface temperature, K.
    pub unit_uncertainty: Frame<Difference>,
    /// Standard uncertainty of the difference, K.
    pub difference_uncertainty: Frame<Difference>,
    /// Standard deviation of each pixel among the known-good boards, K, with the camera's noise; where they are
    /// enough to differ.
    pub spread: Option<Frame<Difference>>,
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
    /// By what it was decided which differences count.
    pub judged_by: JudgedBy,
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
    /// The parts that exceed a stated limit.
    pub fn parts_over_limit(&self) -> impl Iterator<Item = &PartReading> {
        self.parts.iter().filter(|part| part.is_over_limit())
    }

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

/// The whole job at once: align, learn, judge.
///
/// # Errors
/// Every [`CannotCompare`].
pub fn compare(session: &Session, shelf: &Shelf) -> Result<Comparison, CannotCompare> {
    let good = align_good(session, shelf, &mut |_, _| ())?;
    let learned = learn(session, &good, &mut |_| ())?;
    let unit = align_unit(session, shelf, &good)?;
    judge(session, &good, &learned, &unit, &mut |_| ())
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
