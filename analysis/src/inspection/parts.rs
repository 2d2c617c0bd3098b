//! What each placed part reads, against the baseline and against its datasheet.

use serde::{Deserialize, Serialize};

use super::criteria::Criteria;
use super::neighborhood::mean_of_valid;
use crate::board::{Footprint, JunctionEstimate, PartLimit, PartPower, junction};
use crate::frame::{Difference, Frame, FrameError, SurfaceKelvin};
use crate::quantile::quantile;
use crate::units::{Kelvin, KelvinDifference};

/// One part as measured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartReading {
    /// Reference designator.
    pub designator: String,
    /// Hottest place of the body in the unit, averaged over 3 × 3 pixels.
    pub case: Option<Kelvin>,
    /// Standard uncertainty of the case reading, K.
    pub case_uncertainty: Option<KelvinDifference>,
    /// Mean difference over the body, K.
    pub difference: Option<KelvinDifference>,
    /// The least difference that would be called on the body: the median of its pixels' tolerance, K.
    pub callable: Option<KelvinDifference>,
    /// What it turns into heat, where that is known.
    pub power: Option<PartPower>,
    /// Junction estimate, where power and thermal path are known.
    pub junction: Option<JunctionEstimate>,
    /// The smallest distance to a limit that is stated; negative when over it.
    pub margin: Option<KelvinDifference>,
    /// Which limit that is.
    pub margin_at: Option<LimitedAt>,
}

/// Where in a part a limit holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum LimitedAt {
    /// On its body.
    Case,
    /// Inside.
    Junction,
}

impl PartReading {
    /// Whether a stated limit is exceeded.
    #[must_use]
    pub fn is_over_limit(&self) -> bool {
        self.margin.is_some_and(|margin| margin.value() < 0.0)
    }
}

/// The pictures that parts are read in, all of one size.
#[derive(Debug, Clone, Copy)]
pub struct PartPictures<'a> {
    /// The unit's surface temperature.
    pub unit: &'a Frame<SurfaceKelvin>,
    /// Its standard uncertainty, K.
    pub unit_uncertainty: &'a Frame<Difference>,
    /// Unit minus baseline, K.
    pub difference: &'a Frame<Difference>,
    /// The difference that a pixel must exceed to count, K.
    pub tolerance: &'a Frame<Difference>,
}

/// What is known of the parts from their datasheets and at the bench.
#[derive(Debug, Clone, Copy)]
pub struct Datasheet<'a> {
    /// Limits by part.
    pub limits: &'a [PartLimit],
    /// Powers by part.
    pub powers: &'a [(String, PartPower)],
    /// Standard uncertainty of a published figure from case to junction, as a share of it.
    pub path_share: f64,
}

/// Reads every part that has a footprint, in the order given.
///
/// The case reading is the hottest 3 × 3 mean centred on a valid pixel of the body, in the unit. The
/// margin is the smallest of (case limit − case) and (junction limit − junction estimate), over those
/// that are stated and known. A part outside the picture or invalid throughout has no reading.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the pictures differ in size.
pub fn read_parts(
    pictures: &PartPictures<'_>,
    footprints: &[Footprint],
    datasheet: &Datasheet<'_>,
) -> Result<Vec<PartReading>, FrameError> {
    let PartPictures { unit, unit_uncertainty, difference, tolerance } = *pictures;
    unit.require_same_shape(unit_uncertainty)?;
    unit.require_same_shape(difference)?;
    unit.require_same_shape(tolerance)?;
    let (_, columns) = unit.shape();
    let smooth = mean_of_valid(unit, 1);
    let parts = footprints.iter().map(|footprint| {
        let mut hottest: Option<(f32, usize)> = None;
        let (mut sum, mut count) = (0.0, 0_u32);
        let mut tolerances = Vec::new();
        for (row, run) in footprint.pixel_runs(unit.shape()) {
            for column in run {
                if unit.at(row, column).is_some() {
                    let reading = smooth[row * columns + column];
                    if hottest.is_none_or(|(highest, _)| reading > highest) {
                        hottest = Some((reading, row * columns + column));
                    }
                }
                if let Some(difference) = difference.at(row, column) {
                    sum += f64::from(difference);
                    count += 1;
                }
                tolerances.extend(tolerance.at(row, column));
            }
        }
        let case = hottest.and_then(|(kelvin, _)| Kelvin::new(f64::from(kelvin)).ok());
        // Errors of emissivity and calibration are alike over a part: averaging takes nothing off.
        let uncertainty = hottest.and_then(|(_, at)| unit_uncertainty.as_slice().get(at));
        let uncertainty = uncertainty.and_then(|kelvin| KelvinDifference::new(f64::from(*kelvin)).ok());
        let limit = datasheet.limits.iter().find(|limit| limit.designator == footprint.designator);
        let power = datasheet.powers.iter().find(|(part, _)| *part == footprint.designator);
        let power = power.map(|(_, power)| *power);
        let estimate = limit.and_then(|limit| {
            junction(case?, uncertainty, &power?, limit.path.as_ref()?, datasheet.path_share).ok()
        });
        let nearest =
            limit.and_then(|limit| margin(limit, case, estimate.map(|estimate| estimate.temperature)));
        PartReading {
            designator: footprint.designator.clone(),
            case,
            case_uncertainty: uncertainty,
            difference: (count > 0).then(|| KelvinDifference::known(sum / f64::from(count))),
            callable: quantile(&mut tolerances, 0.5).map(|kelvin| KelvinDifference::known(f64::from(kelvin))),
            power,
            junction: estimate,
            margin: nearest.map(|(margin, _)| margin),
            margin_at: nearest.map(|(_, at)| at),
        }
    });
    Ok(parts.collect())
}

/// A part is hard to judge when a difference must be this many times the stated limit to be called on it,
/// our own rule.
const DULL: f64 = 2.0;

/// The parts that are hard to judge, the hardest first, each with the difference that it takes, K.
#[must_use]
pub fn hard_to_judge<'a>(
    parts: &'a [PartReading],
    criteria: &Criteria,
) -> Vec<(&'a PartReading, KelvinDifference)> {
    let needed = parts.iter().filter_map(|part| Some((part, part.callable?)));
    let mut dull: Vec<_> =
        needed.filter(|(_, needed)| needed.value() > DULL * criteria.limit.value().abs()).collect();
    dull.sort_by(|a, b| b.1.value().total_cmp(&a.1.value()));
    dull
}

fn margin(
    limit: &PartLimit,
    case: Option<Kelvin>,
    junction: Option<Kelvin>,
) -> Option<(KelvinDifference, LimitedAt)> {
    let below = |limit: Option<Kelvin>, reading: Option<Kelvin>, at| Some((limit? - reading?, at));
    [below(limit.max_case, case, LimitedAt::Case), below(limit.max_junction, junction, LimitedAt::Junction)]
        .into_iter()
        .flatten()
        .min_by(|a, b| a.0.value().total_cmp(&b.0.value()))
}
