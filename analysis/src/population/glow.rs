//! Which places make heat, and which only bathe in it.
//!
//! Heat spreads a few centimetres along a board, so a strong fault lifts its neighbours by more than good
//! boards differ. Taken one by one, the surest first: a place that stands out is a source unless the heat
//! of the sources before it explains it. What a source sends along the board is fitted on the bare board
//! between the bodies, all sources together ([`super::plate`]); the sheet conductance is fitted with it.
//!
//! A part's case follows the board below it, so its own heat is not needed to judge its glow. The plate
//! takes the copper as even, which it is not: a glow may be [`DOUBT`] of itself larger than modelled.

use nalgebra::DVector;
use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::bare_board::{BareBoard, CannotTellPower, Maker};
use super::nuisance::Estimate;
use super::significance::Anomaly;
use super::watts_fit::WattsFit;
use crate::frame::{Difference, Frame, FrameError, SurfaceKelvin};

/// A place that makes more or less heat than on good boards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeatSource {
    /// Which of the anomalies.
    pub anomaly: usize,
    /// Change of its power, W; `None` where the picture cannot tell it.
    pub watts: Option<Estimate>,
    /// The anomalies that its heat explains.
    pub bathed: Vec<usize>,
}

/// No more sources than this are told apart; whatever else stands out counts as a source of its own.
const MOST_SOURCES: usize = 5;
/// Share of a modelled glow by which the true one may exceed it (own simulations with uneven copper).
const DOUBT: f64 = 0.5;
/// Standard deviations beyond its glow at which a place is a source of its own.
const BEYOND: f64 = 3.0;
/// A power is told when its standard uncertainty stays below this share of it.
const TOLD: f64 = 0.4;
/// Standard uncertainty of a power, as a share of it, from uneven copper and from what the fit of the whole board takes
/// away of its farther heat: of the samples' and of three more simulated faults it came out up to a fifth too small.
const WHOLE_BOARD: f64 = 0.15;
/// A source under no part is taken as a disc of the radius that fits best of these, mm.
const DISCS_MM: [f64; 6] = [2.0, 4.0, 6.0, 9.0, 13.0, 18.0];
/// Fewer cells of bare board tell nothing.
const LEAST_CELLS: usize = 200;
/// Squares of this many millimetres count as independent: errors of the model reach far.
const CLUSTER_MM: f64 = 10.0;
/// A body's edge reaches this far by blur and misplacement, pixels.
const MARGIN_PX: usize = 3;

/// Where heat is made, and what it does all over the board.
#[derive(Debug, Clone)]
pub struct Heat {
    /// The sources, surest first. Every anomaly is either a source or bathed in exactly one.
    pub sources: Vec<HeatSource>,
    /// What the sources send along the board, K in each cell.
    glow: Array2<f64>,
}

impl Heat {
    /// The unit as it would be without what the sources send, and without the bodies that make it: what the bench
    /// changed can be told from it.
    ///
    /// # Errors
    /// [`FrameError`] of a picture without pixels.
    pub(super) fn taken_off(
        &self,
        unit: &Frame<SurfaceKelvin>,
        anomalies: &[Anomaly],
        board: &BareBoard<'_>,
    ) -> Result<Frame<SurfaceKelvin>, FrameError> {
        let mut calm = unit.view().to_owned();
        board.take_off(&self.glow, &mut calm);
        let (rows, columns) = unit.shape();
        let makers =
            self.sources.iter().filter_map(|source| anomalies.get(source.anomaly)?.designator.as_ref());
        for maker in makers {
            let bodies = board.footprints.iter().filter(|footprint| footprint.designator == *maker);
            for (row, run) in bodies.flat_map(|body| body.pixel_runs((rows, columns))) {
                let margin = row.saturating_sub(MARGIN_PX)..(row + MARGIN_PX + 1).min(rows);
                let run = run.start.saturating_sub(MARGIN_PX)..(run.end + MARGIN_PX).min(columns);
                for pixel in margin.flat_map(|row| run.clone().map(move |column| (row, column))) {
                    if let Some(kelvin) = calm.get_mut(pixel) {
                        *kelvin = f32::NAN;
                    }
                }
            }
        }
        Frame::new(calm)
    }
}

/// Sorts `anomalies`, surest first, into sources and what bathes in them.
///
/// `difference` has bare metal made invalid, see [`super::PopulationBaseline::without_metal`].
///
/// # Errors
/// Every [`CannotTellPower`].
pub fn heat_sources(
    difference: &Frame<Difference>,
    anomalies: &[Anomaly],
    board: &mut BareBoard<'_>,
) -> Result<Heat, CannotTellPower> {
    let (cells, kelvin) = board.seen(difference)?;
    if cells.len() < LEAST_CELLS {
        return Err(CannotTellPower::TooLittleBoard { found: cells.len(), needed: LEAST_CELLS });
    }
    let seen = Seen { cells, kelvin: DVector::from_vec(kelvin) };

    let mut left: Vec<usize> = (0..anomalies.len()).collect();
    let mut sources: Vec<HeatSource> = Vec::new();
    // Those whose power is fitted: which source, and what makes its heat.
    let mut fitted: Vec<usize> = Vec::new();
    let mut makers: Vec<Maker> = Vec::new();
    let mut glow = Array2::zeros(board.shape());
    while !left.is_empty() {
        let next = left.remove(0);
        sources.push(HeatSource { anomaly: next, watts: None, bathed: Vec::new() });
        if sources.len() > MOST_SOURCES {
            continue;
        }
        let further = makers_of(&anomalies[next], board).into_iter().filter_map(|maker| {
            let tried: Vec<Maker> = makers.iter().copied().chain([maker]).collect();
            Some((Spreading::fitted(board, &tried, &seen)?, tried))
        });
        let Some((spread, tried)) = further.min_by(|(a, _), (b, _)| a.left.total_cmp(&b.left)) else {
            continue;
        };
        makers = tried;
        fitted.push(sources.len() - 1);
        glow = spread.glows.iter().fold(Array2::zeros(board.shape()), |sum, glow| sum + glow);
        for (place, &source) in fitted.iter().enumerate() {
            sources[source].watts = spread.watts(place);
        }
        left.retain(|&other| match spread.explains(board, &anomalies[other]) {
            Some(by) => {
                sources[fitted[by]].bathed.push(other);
                false
            }
            None => true,
        });
    }
    Ok(Heat { sources, glow })
}

/// The part that an anomaly is named after, or discs around its middle.
fn makers_of(anomaly: &Anomaly, board: &BareBoard<'_>) -> Vec<Maker> {
    let named = anomaly.designator.as_ref();
    match board.footprints.iter().position(|part| Some(&part.designator) == named) {
        Some(part) => vec![Maker::Part(part)],
        None => {
            let center = board.nearest_corner(anomaly.middle);
            DISCS_MM.iter().map(|&radius| Maker::Disc { center, radius }).collect()
        }
    }
}

/// The difference on bare board.
struct Seen {
    cells: Vec<usize>,
    kelvin: DVector<f64>,
}

impl Seen {
    /// A field at the places seen.
    fn of(&self, field: &Array2<f64>) -> DVector<f64> {
        let all = field.as_slice().unwrap_or_default();
        let values = self.cells.iter().map(|&cell| all.get(cell).copied().unwrap_or(0.0));
        DVector::from_iterator(self.cells.len(), values)
    }
}

/// What the sources found so far send along the board.
struct Spreading {
    /// Each source's own share of the difference, K.
    glows: Vec<Array2<f64>>,
    watts: Vec<Estimate>,
    /// The squares left, K².
    left: f64,
}

impl Spreading {
    /// The best of the plates for these sources; `None` where they cannot be told from one another.
    fn fitted(board: &mut BareBoard<'_>, makers: &[Maker], seen: &Seen) -> Option<Self> {
        let plates = board.plates();
        let mut fit_on = |plate: usize| {
            let columns: Option<Vec<_>> = makers
                .iter()
                .map(|&maker| board.one_watt(maker, plate).map(|field| seen.of(field)))
                .collect();
            WattsFit::of(&columns?, &seen.kelvin)
        };
        let (plate, fit) = best(plates, &mut fit_on)?;
        let across = board.shape().1;
        let side = ((CLUSTER_MM / board.cell_mm()).round() as usize).max(1);
        let cluster = |place: usize| {
            let cell = seen.cells.get(place).copied().unwrap_or(0);
            (cell / across / side, cell % across / side)
        };
        let deviations = fit.uncertainties(&seen.kelvin, cluster);
        let estimates = fit.watts.iter().zip(&deviations).map(|(&value, deviation)| Estimate {
            value,
            standard_uncertainty: deviation.hypot(WHOLE_BOARD * value),
        });
        let glows = makers
            .iter()
            .zip(fit.watts.iter())
            .map(|(&maker, watts)| Some(board.one_watt(maker, plate)? * *watts));
        Some(Self { glows: glows.collect::<Option<_>>()?, watts: estimates.collect(), left: fit.left })
    }

    fn watts(&self, source: usize) -> Option<Estimate> {
        let told = |watts: &&Estimate| watts.standard_uncertainty < TOLD * watts.value.abs();
        self.watts.get(source).filter(told).copied()
    }

    /// The source that most of an anomaly's difference comes from, if the sources explain it.
    fn explains(&self, board: &BareBoard<'_>, anomaly: &Anomaly) -> Option<usize> {
        let cell = board.cell_of(anomaly.peak)?;
        let shares: Vec<f64> =
            self.glows.iter().map(|glow| glow[cell] * anomaly.difference.signum()).collect();
        let glow: f64 = shares.iter().sum();
        let beyond = anomaly.difference.abs() - (1.0 + DOUBT) * glow.max(0.0);
        let largest = (0..shares.len()).max_by(|&a, &b| shares[a].total_cmp(&shares[b]))?;
        (glow > 0.0 && beyond < BEYOND * anomaly.standard_uncertainty).then_some(largest)
    }
}

/// The plate that leaves least. What is left falls and rises once over the conductances, so every fourth is
/// tried first and the neighbours of the best then.
fn best(plates: usize, fit_on: &mut impl FnMut(usize) -> Option<WattsFit>) -> Option<(usize, WattsFit)> {
    const STRIDE: usize = 4;
    let mut least = |places: &mut dyn Iterator<Item = usize>| {
        places
            .filter_map(|plate| Some((plate, fit_on(plate)?)))
            .min_by(|(_, a), (_, b)| a.left.total_cmp(&b.left))
    };
    let (coarse, _) = least(&mut (0..plates).step_by(STRIDE))?;
    least(&mut (coarse.saturating_sub(STRIDE - 1)..(coarse + STRIDE).min(plates)))
}
