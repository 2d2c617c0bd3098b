//! What each placed part reads, against the baseline and against its datasheet.

use serde::{Deserialize, Serialize};

use super::criteria::Criteria;
use super::neighborhood::mean_of_valid;
use crate::board::{Footprint, PartLimit, junction};
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
    /// Mean difference over the body, K.
    pub difference: Option<KelvinDifference>,
    /// The least difference that would be called on the body: the median of its pixels' tolerance, K.
    pub callable: Option<KelvinDifference>,
    /// Junction estimate, where power and thermal path are known.
    pub junction: Option<Kelvin>,
    /// The smallest distance to a limit that is stated; negative when over it.
    pub margin: Option<KelvinDifference>,
}

impl PartReading {
    /// Whether a stated limit is exceeded.
    #[must_use]
    pub fn is_over_limit(&self) -> bool {
        self.margin.is_some_and(|margin| margin.value() < 0.0)
    }
}

/// Reads every part that has a footprint, in the order given.
///
/// The case reading is the hottest 3 × 3 mean centred on a valid pixel of the body, in the unit. The
/// margin is the smallest of (case limit − case) and (junction limit − junction estimate), over those
/// that are stated and known. A part outside the picture or invalid throughout has no reading.
///
/// # Errors
/// [`FrameError::ShapeMismatch`] when the three pictures differ in size.
pub fn read_parts(
    unit: &Frame<SurfaceKelvin>,
    difference: &Frame<Difference>,
    tolerance: &Frame<Difference>,
    footprints: &[Footprint],
    limits: &[PartLimit],
) -> Result<Vec<PartReading>, FrameError> {
    unit.require_same_shape(difference)?;
    unit.require_same_shape(tolerance)?;
    let (_, columns) = unit.shape();
    let smooth = mean_of_valid(unit, 1);
    let parts = footprints.iter().map(|footprint| {
        let mut hottest: Option<f32> = None;
        let (mut sum, mut count) = (0.0, 0_u32);
        let mut tolerances = Vec::new();
        for (row, run) in footprint.pixel_runs(unit.shape()) {
            for column in run {
                if unit.at(row, column).is_some() {
                    let reading = smooth[row * columns + column];
                    hottest = Some(hottest.map_or(reading, |highest| highest.max(reading)));
                }
                if let Some(difference) = difference.at(row, column) {
                    sum += f64::from(difference);
                    count += 1;
                }
                tolerances.extend(tolerance.at(row, column));
            }
        }
        let case = hottest.and_then(|kelvin| Kelvin::new(f64::from(kelvin)).ok());
        let limit = limits.iter().find(|limit| limit.designator == footprint.designator);
        let estimate = limit.and_then(|limit| junction(case?, limit.power?, limit.path.as_ref()?).ok());
        PartReading {
            designator: footprint.designator.clone(),
            case,
            difference: (count > 0).then(|| KelvinDifference::known(sum / f64::from(count))),
            callable: quantile(&mut tolerances, 0.5).map(|kelvin| KelvinDifference::known(f64::from(kelvin))),
            junction: estimate,
            margin: limit.and_then(|limit| margin(limit, case, estimate)),
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

fn margin(limit: &PartLimit, case: Option<Kelvin>, junction: Option<Kelvin>) -> Option<KelvinDifference> {
    let below = |limit: Option<Kelvin>, reading: Option<Kelvin>| Some(limit? - reading?);
    [below(limit.max_case, case), below(limit.max_junction, junction)]
        .into_iter()
        .flatten()
        .min_by(|a, b| a.value().total_cmp(&b.value()))
}
