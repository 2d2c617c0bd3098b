//! What good boards have in common and how they differ: the baseline that a unit is held against.

use serde::{Deserialize, Serialize};

use super::bodies::{Body, Collared, bodies, collared};
use super::false_alarms::{Extremes, FalseAlarms};
use super::local_shift::{fit_remainder, take_out_shifts, without_remainder};
use super::nuisance::{NuisanceError, NuisanceFit, fit_with_parts};
use super::pattern::Pattern;
use super::scales::{PlaceFeatures, Scale, Scatter, Studentised, body_means, speaking_pixels};
use super::student::{critical_t, two_sided_probability};
use super::summed_area::SummedArea;
use super::trusted::{BLUR_REACH, without_metal};
use crate::board::Footprint;
use crate::content_hash::ContentHash;
use crate::frame::{Difference, EmissivityFraction, Frame, FrameError, SurfaceKelvin};
use crate::quantile::median;
use crate::units::Kelvin;

/// A known-good board, corrected and aligned.
#[derive(Debug, Clone)]
pub struct GoodBoard<'a> {
    /// Its serial number.
    pub serial: String,
    /// The capture it comes from.
    pub capture: ContentHash,
    /// Temperature of its surface.
    pub temperature: &'a Frame<SurfaceKelvin>,
    /// Air temperature as read beside it.
    pub ambient: Kelvin,
}

/// Why no baseline can be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PopulationError {
    /// One board says nothing of how boards differ.
    #[error("{found} good board(s) given: at least two are needed to tell how good boards differ")]
    TooFewBoards {
        /// Boards given.
        found: usize,
    },
    /// A board cannot be fitted to the others.
    #[error("good board {serial}: {reason}")]
    Board {
        /// Its serial number.
        serial: String,
        /// Why.
        reason: NuisanceError,
    },
    /// Pictures of different size.
    #[error(transparent)]
    Shape(#[from] FrameError),
}

/// How the numbers were made; raised when they would come out differently.
pub const METHOD_VERSION: u32 = 3;
/// Rarer than this among good boards, a board given as good is named as an outlier.
const OUTLIER: f64 = 0.01;

/// One good board held against the others.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BoardCheck {
    /// Its serial number.
    pub serial: String,
    /// The capture.
    pub capture: ContentHash,
    /// What the bench changed against the mean of all.
    pub nuisance: NuisanceFit,
    /// The probability that a good board stands out as far anywhere; `None` with two boards.
    pub probability: Option<f64>,
    /// The part that stands out most, if any lies in view.
    pub strongest_part: Option<String>,
    /// Whether it should be looked at before it serves as a baseline: rarer than one in a hundred.
    pub outlier: bool,
}

/// How one part scatters over the good boards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PartSpread {
    /// Reference designator.
    pub designator: String,
    /// Mean temperature of the body, K.
    pub mean: f64,
    /// Standard deviation with which one more good board differs from the mean, K; NaN becomes `None`.
    pub spread: Option<f64>,
    /// The least difference that would be called significant on this part alone at five false alarms in
    /// a hundred good boards, K.
    pub tellable: Option<f64>,
}

/// What is kept of a baseline in a file: provenance and figures, no pixels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PopulationSummary {
    /// [`METHOD_VERSION`] when it was made.
    pub version: u32,
    /// The method in words.
    pub method: String,
    /// Every board with its check.
    pub boards: Vec<BoardCheck>,
    /// Mean ambient, K.
    pub ambient: Kelvin,
    /// Median over the pixels of the spread, K.
    pub median_spread: f64,
    /// Degrees of freedom that the parts' spreads rest on, those lent by the other parts included.
    pub part_freedom: f64,
    /// What chance shows on the parts of a good board.
    pub part_extremes: Extremes,
    /// What chance shows in the squares of a good board: of how many independent sizes the least probable
    /// square comes, each size calibrated by itself.
    pub square_extremes: Extremes,
    /// The parts.
    pub parts: Vec<PartSpread>,
}

/// What other good boards did to the baseline: one more, or one set aside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EffectOfAdding {
    /// Boards before and after.
    pub boards: [usize; 2],
    /// Median spread before and after, K.
    pub median_spread: [f64; 2],
    /// Designator and least tellable difference before and after, K, of parts known to both.
    pub tellable: Vec<(String, [f64; 2])>,
}

impl EffectOfAdding {
    /// What a part must differ by to be called, before and after, in the middle of all parts, K; `None` of no parts.
    #[must_use]
    pub fn middle_tellable(&self) -> Option<[f64; 2]> {
        let each = |place: usize| median(self.tellable.iter().map(move |(_, tellable)| tellable[place]));
        Some([each(0)?, each(1)?])
    }

    /// The part for which it changed most.
    #[must_use]
    pub fn most_changed(&self) -> Option<&(String, [f64; 2])> {
        let change = |(_, [before, after]): &(String, [f64; 2])| (after - before).abs();
        self.tellable.iter().max_by(|a, b| change(a).total_cmp(&change(b)))
    }
}

impl PopulationSummary {
    /// What became of `before` by the boards that were added.
    #[must_use]
    pub fn effect_since(&self, before: &Self) -> EffectOfAdding {
        let tellable = self
            .parts
            .iter()
            .filter_map(|part| {
                let old = before.parts.iter().find(|old| old.designator == part.designator)?;
                Some((part.designator.clone(), [old.tellable?, part.tellable?]))
            })
            .collect();
        EffectOfAdding {
            boards: [before.boards.len(), self.boards.len()],
            median_spread: [before.median_spread, self.median_spread],
            tellable,
        }
    }
}

/// How the squares of one size scatter, and what chance shows in the largest of them on a good board.
#[derive(Debug, Clone)]
pub(super) struct SquareScatter {
    pub(super) scale: Scale,
    pub(super) scatter: Scatter,
    pub(super) extremes: Extremes,
}

/// The baseline of several good boards.
#[derive(Debug, Clone)]
pub struct PopulationBaseline {
    /// Mean surface temperature, the bench's changes taken out of each board, K.
    pub mean: Frame<SurfaceKelvin>,
    /// Standard deviation with which one more good board differs at a pixel, K.
    pub spread: Frame<Difference>,
    /// Provenance and figures.
    pub summary: PopulationSummary,
    /// Degrees of freedom of [`Self::spread`].
    pub pixel_freedom: f64,
    pub(super) trusted: Frame<SurfaceKelvin>,
    pub(super) pattern: Pattern,
    pub(super) footprints: Vec<Footprint>,
    pub(super) bodies: Vec<Body>,
    pub(super) speaking: Vec<Vec<usize>>,
    /// Mean square of what the parts' places leave unexplained on good boards; `None` of parts that show
    /// enough plain surface not to depend on it.
    pub(super) misfits: Vec<Option<f64>>,
    pub(super) collared: Vec<Collared>,
    pub(super) parts: Scatter,
    pub(super) squares: Vec<SquareScatter>,
}

impl PopulationBaseline {
    /// Learns from two or more good boards in one pixel frame.
    ///
    /// `emissivity` keeps bare metal from voting on the bench's changes; without it every pixel votes.
    /// `footprints` are the parts in the same frame; without them only places are judged.
    ///
    /// # Errors
    /// Every [`PopulationError`].
    pub fn learn(
        boards: &[GoodBoard<'_>],
        emissivity: Option<&Frame<EmissivityFraction>>,
        footprints: &[Footprint],
    ) -> Result<Self, PopulationError> {
        let [first, _, ..] = boards else {
            return Err(PopulationError::TooFewBoards { found: boards.len() });
        };
        for board in boards {
            first.temperature.require_same_shape(board.temperature)?;
        }
        let shape = first.temperature.shape();
        let n = boards.len() as f64;
        let ambient = boards.iter().map(|board| board.ambient.value()).sum::<f64>() / n;
        let ambient = Kelvin::new(ambient).unwrap_or(first.ambient);

        let bodies = bodies(footprints, shape);
        let collared = collared(footprints, &bodies, shape);
        let plain = mean_of(shape, boards.iter().map(|board| board.temperature))?;
        let fitted = |mean: &Frame<SurfaceKelvin>| -> Result<Vec<NuisanceFit>, PopulationError> {
            let trusted =
                emissivity.map_or_else(|| Ok(mean.clone()), |e| without_metal(mean, e, BLUR_REACH))?;
            let fit = |board: &GoodBoard<'_>| {
                fit_with_parts(&trusted, ambient, board.temperature, &collared)
                    .map_err(|reason| PopulationError::Board { serial: board.serial.clone(), reason })
            };
            boards.iter().map(fit).collect()
        };
        // The plain mean is blurred by nothing but offsets and powers, which these fits take out.
        let nuisances = fitted(&plain)?;
        let mut residuals = boards
            .iter()
            .zip(&nuisances)
            .map(|(board, fit)| fit.corrected_difference(&plain, ambient, board.temperature))
            .collect::<Result<Vec<_>, _>>()?;
        let left = center(&mut residuals)?;
        let mean = Frame::new(&plain.view() + &left.view())?;
        let trusted = emissivity.map_or_else(|| Ok(mean.clone()), |e| without_metal(&mean, e, BLUR_REACH))?;

        let pattern = Pattern::of(&mean, emissivity, ambient);
        let mut misfits = vec![0.0; bodies.len()];
        for residual in &mut residuals {
            let remainder = fit_remainder(&trusted, &pattern, residual);
            *residual = without_remainder(residual, &pattern, &remainder);
            let placed = take_out_shifts(&mean, &trusted, &pattern, residual, &bodies);
            for (sum, misfit) in misfits.iter_mut().zip(placed.misfits) {
                *sum += misfit / n;
            }
            *residual = placed.left;
        }
        center(&mut residuals)?;

        let not_metal = emissivity.map_or_else(|| Ok(mean.clone()), |e| without_metal(&mean, e, 0))?;
        let features = PlaceFeatures::new(&mean, &trusted, &not_metal, &pattern, ambient);
        let speaking = speaking_pixels(&bodies, &[&trusted, &not_metal]);
        let is_plain = |pixel: &usize| !trusted.as_slice()[*pixel].is_nan();
        let misfits = misfits
            .into_iter()
            .zip(&speaking)
            .map(|(misfit, pixels)| (!pixels.iter().all(is_plain) && misfit > 0.0).then_some(misfit))
            .collect();
        let (spread, pixel_freedom) = pixel_spread(&residuals, &features)?;

        let part_means: Vec<_> = residuals.iter().map(|residual| body_means(residual, &speaking)).collect();
        let (parts, part_checks) = Scatter::learn(&part_means, &features.of_bodies(&speaking));
        let tables: Vec<SummedArea> =
            residuals.iter().map(|residual| plain_table(residual, &trusted)).collect();
        let smallest = |check: &Studentised| {
            check.largest().map_or(f64::NAN, |(_, t)| two_sided_probability(t, check.freedom))
        };
        // Each size is calibrated by itself: the many small squares must not spend the large ones' share.
        let mut square_smallest = vec![f64::NAN; if boards.len() < 3 { 0 } else { boards.len() }];
        let mut squares = Vec::new();
        for scale in Scale::all(shape) {
            let means: Vec<_> = tables.iter().map(|table| scale.means(table)).collect();
            let (scatter, checks) = Scatter::learn(&means, &features.of_scale(scale));
            let probabilities: Vec<f64> = checks.iter().map(smallest).collect();
            let extremes = Extremes::learn(&probabilities, scale.rows * scale.columns);
            for (least, probability) in square_smallest.iter_mut().zip(probabilities) {
                *least = least.min(extremes.board_probability(probability));
            }
            squares.push(SquareScatter { scale, scatter, extremes });
        }
        let part_smallest: Vec<f64> = part_checks.iter().map(smallest).collect();
        let sizes = squares.len();
        let checks = boards
            .iter()
            .zip(nuisances)
            .enumerate()
            .map(|(index, (board, nuisance))| {
                let probability = against_others(&part_smallest, bodies.len(), index)
                    .into_iter()
                    .chain(against_others(&square_smallest, sizes, index))
                    .map(|probability| 1.0 - probability)
                    .reduce(|a, b| a * b)
                    .map(|none| 1.0 - none);
                let strongest = part_checks.get(index).and_then(Studentised::largest);
                BoardCheck {
                    serial: board.serial.clone(),
                    capture: board.capture.clone(),
                    nuisance,
                    probability,
                    strongest_part: strongest.map(|(part, _)| bodies[part].designator.clone()),
                    outlier: probability.is_some_and(|probability| probability < OUTLIER),
                }
            })
            .collect();

        let part_extremes = Extremes::learn(&part_smallest, bodies.len());
        let summary = PopulationSummary {
            version: METHOD_VERSION,
            method: METHOD.to_owned(),
            boards: checks,
            ambient,
            median_spread: median(spread.as_slice().iter().copied()).map_or(0.0, f64::from),
            part_freedom: parts.freedom(),
            part_extremes,
            square_extremes: Extremes::learn(&square_smallest, sizes),
            parts: part_spreads(&mean, &bodies, &speaking, &parts, &part_extremes),
        };
        Ok(Self {
            mean,
            spread,
            summary,
            pixel_freedom,
            trusted,
            pattern,
            footprints: footprints.to_vec(),
            bodies,
            collared,
            speaking,
            misfits,
            parts,
            squares,
        })
    }
}

impl PopulationBaseline {
    /// `difference` with bare metal made invalid: what [`super::heat_sources`] wants.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`].
    pub fn without_metal(&self, difference: &Frame<Difference>) -> Result<Frame<Difference>, FrameError> {
        difference.require_same_shape(&self.trusted)?;
        let (rows, columns) = difference.shape();
        let pixels = difference.as_slice().iter().zip(self.trusted.as_slice());
        let plain = pixels.map(|(difference, trusted)| if trusted.is_nan() { f32::NAN } else { *difference });
        Frame::from_rows(rows, columns, plain.collect())
    }
}

const METHOD: &str = "mean of the good boards after fitting offset, tilt and total power of each and the place \
                      of each part; variances moderated towards a sum of what rise, contrast, slope and metal \
                      cause; prediction of one more board by Student's t";

fn against_others(smallest: &[f64], places: usize, index: usize) -> Option<f64> {
    let own = *smallest.get(index)?;
    let others: Vec<f64> =
        smallest.iter().enumerate().filter(|(other, _)| *other != index).map(|(_, p)| *p).collect();
    let extremes = Extremes::learn(&others, places);
    (!own.is_nan() && extremes.boards > 0).then(|| extremes.board_probability(own))
}

/// Sums of a difference without bare metal: what is mirrored there would drown its neighbours.
pub(super) fn plain_table(difference: &Frame<Difference>, trusted: &Frame<SurfaceKelvin>) -> SummedArea {
    let pixels = difference.as_slice().iter().zip(trusted.as_slice());
    SummedArea::new(
        difference.shape(),
        pixels.map(|(difference, trusted)| if trusted.is_nan() { f32::NAN } else { *difference }),
    )
}

/// The mean of the valid boards at each pixel.
fn mean_of<'a>(
    shape: (usize, usize),
    frames: impl Iterator<Item = &'a Frame<SurfaceKelvin>>,
) -> Result<Frame<SurfaceKelvin>, FrameError> {
    let mut sums = vec![0.0_f64; shape.0 * shape.1];
    let mut counts = vec![0_u16; sums.len()];
    for frame in frames {
        for ((sum, count), value) in sums.iter_mut().zip(&mut counts).zip(frame.as_slice()) {
            if !value.is_nan() {
                *sum += f64::from(*value);
                *count += 1;
            }
        }
    }
    let means = sums.iter().zip(counts).map(|(sum, count)| (sum / f64::from(count)) as f32).collect();
    Frame::from_rows(shape.0, shape.1, means)
}

/// Takes the boards' mean out of each and hands it back.
fn center(residuals: &mut [Frame<Difference>]) -> Result<Frame<Difference>, FrameError> {
    let Some(first) = residuals.first() else { return Err(FrameError::Empty { rows: 0, columns: 0 }) };
    let (rows, columns) = first.shape();
    let mut sums = vec![0.0_f32; rows * columns];
    let mut counts = vec![0.0_f32; rows * columns];
    for residual in residuals.iter() {
        for ((sum, count), value) in sums.iter_mut().zip(&mut counts).zip(residual.as_slice()) {
            if !value.is_nan() {
                *sum += value;
                *count += 1.0;
            }
        }
    }
    let mean =
        Frame::from_rows(rows, columns, sums.iter().zip(counts).map(|(sum, count)| sum / count).collect())?;
    for residual in residuals {
        *residual = Frame::new(&residual.view() - &mean.view())?;
    }
    Ok(mean)
}

fn pixel_spread(
    residuals: &[Frame<Difference>],
    features: &PlaceFeatures,
) -> Result<(Frame<Difference>, f64), FrameError> {
    /// The features of a pixel are those of its nearest neighbourhood.
    const RADIUS: usize = 2;
    let Some(first) = residuals.first() else { return Err(FrameError::Empty { rows: 0, columns: 0 }) };
    let (rows, columns) = first.shape();
    let values: Vec<Vec<f32>> = residuals.iter().map(|residual| residual.as_slice().to_vec()).collect();
    let places: Vec<_> =
        (0..rows * columns).map(|pixel| features.around(pixel / columns, pixel % columns, RADIUS)).collect();
    let scatter = Scatter::of(&values, &places);
    Ok((Frame::from_rows(rows, columns, scatter.prediction().collect())?, scatter.freedom()))
}

fn part_spreads(
    mean: &Frame<SurfaceKelvin>,
    bodies: &[Body],
    speaking: &[Vec<usize>],
    parts: &Scatter,
    extremes: &Extremes,
) -> Vec<PartSpread> {
    let allowed = FalseAlarms::default().probability() / 2.0;
    let critical = critical_t(extremes.place_probability(allowed), parts.freedom());
    let values = mean.as_slice();
    let known = |value: f64| value.is_finite().then_some(value);
    bodies
        .iter()
        .zip(speaking)
        .zip(parts.prediction())
        .map(|((body, pixels), deviation)| PartSpread {
            designator: body.designator.clone(),
            mean: pixels.iter().map(|&pixel| f64::from(values[pixel])).sum::<f64>() / pixels.len() as f64,
            spread: known(f64::from(deviation)),
            tellable: known(critical * f64::from(deviation)),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_effect_of_other_boards_is_told_by_the_part_in_the_middle_and_by_the_one_that_gained_most() {
        let part = |designator: &str, before, after| (designator.to_owned(), [before, after]);
        let mut effect = EffectOfAdding {
            boards: [5, 6],
            median_spread: [0.2, 0.19],
            tellable: vec![part("U1", 3.0, 2.0), part("U2", 2.0, 1.9), part("U3", 1.0, 1.1)],
        };
        assert_eq!(effect.middle_tellable(), Some([2.0, 1.9]));
        assert_eq!(effect.most_changed(), Some(&part("U1", 3.0, 2.0)));
        effect.tellable.clear();
        assert_eq!((effect.middle_tellable(), effect.most_changed()), (None, None));
    }
}
