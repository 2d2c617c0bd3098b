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

use super::nuisance::Estimate;
use super::plate::{PlateProperties, UniformPlate};
use super::power_map::{
    BoardPlate, CELL_MM, CannotTellPower, LEAST_CELLS, Taken, board_field, conductances, fit, middle, source,
    uncertainties,
};
use super::significance::Anomaly;
use crate::board::Footprint;
use crate::frame::{Difference, Frame, FrameError, SurfaceKelvin};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};

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
/// A source under no part is taken as a disc of its extent, within these radii, mm.
const DISC_MM: [f64; 2] = [2.0, 12.0];

/// Where heat is made, and what it does all over the picture.
#[derive(Debug, Clone)]
pub(super) struct Heat {
    /// The sources, surest first. Every anomaly is either a source or bathed in exactly one.
    pub(super) sources: Vec<HeatSource>,
    /// What the sources send along the board, K; 0 off the board.
    glow: Frame<Difference>,
}

impl Heat {
    /// The unit as it would be without what the sources send, and without the bodies that make it: what the bench
    /// changed can be told from it.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`].
    pub(super) fn taken_off(
        &self,
        unit: &Frame<SurfaceKelvin>,
        anomalies: &[Anomaly],
        footprints: &[Footprint],
    ) -> Result<Frame<SurfaceKelvin>, FrameError> {
        unit.require_same_shape(&self.glow)?;
        let mut calm = unit.view().to_owned();
        calm.zip_mut_with(&self.glow.view(), |kelvin, glow| *kelvin -= glow);
        let (rows, columns) = unit.shape();
        let makers =
            self.sources.iter().filter_map(|source| anomalies.get(source.anomaly)?.designator.as_ref());
        for maker in makers {
            let bodies = footprints.iter().filter(|footprint| footprint.designator == *maker);
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

/// A body's edge reaches this far by blur and misplacement, pixels.
const MARGIN_PX: usize = 3;

/// Sorts `anomalies`, surest first, into sources and what bathes in them.
///
/// `difference` has bare metal made invalid, see [`super::PopulationBaseline::without_metal`]; `plates` are those of
/// [`plates`].
///
/// # Errors
/// Every [`CannotTellPower`].
pub(super) fn heat_sources(
    difference: &Frame<Difference>,
    anomalies: &[Anomaly],
    footprints: &[Footprint],
    board_to_picture: &Homography<BoardMillimeters, BaselinePixels>,
    plates: &[UniformPlate],
) -> Result<Heat, CannotTellPower> {
    let first = plates.first().ok_or(CannotTellPower::TooLittleBoard { found: 0, needed: LEAST_CELLS })?;
    let field = board_field(difference, footprints, board_to_picture, first);
    let valid: Vec<usize> =
        field.iter().enumerate().filter(|(_, value)| !value.is_nan()).map(|(cell, _)| cell).collect();
    if valid.len() < LEAST_CELLS {
        return Err(CannotTellPower::TooLittleBoard { found: valid.len(), needed: LEAST_CELLS });
    }
    let seen = picked(&field, &valid);
    let scene = Scene { anomalies, footprints, board_to_picture, plate: first };

    let mut left: Vec<usize> = (0..anomalies.len()).collect();
    let mut sources: Vec<HeatSource> = Vec::new();
    let mut bodies: Vec<Array2<f64>> = Vec::new();
    let mut glow = Array2::zeros(first.shape());
    while !left.is_empty() {
        let next = left.remove(0);
        sources.push(HeatSource { anomaly: next, watts: None, bathed: Vec::new() });
        if sources.len() > MOST_SOURCES {
            continue;
        }
        bodies.push(scene.body_of(next));
        let Some(spread) = Spreading::fitted(plates, &bodies, &seen, &valid) else { continue };
        glow = spread.glows.iter().fold(Array2::zeros(first.shape()), |sum, glow| sum + glow);
        for (place, source) in sources.iter_mut().enumerate() {
            source.watts = spread.watts(place);
        }
        left.retain(|&other| match spread.explains(&scene, other) {
            Some(by) => {
                sources[by].bathed.push(other);
                false
            }
            None => true,
        });
    }
    Ok(Heat { sources, glow: on_picture(&glow, first.cell_mm(), difference.shape(), board_to_picture)? })
}

/// A field of cells as the picture would show it, linear between the cells' middles.
fn on_picture(
    field: &Array2<f64>,
    cell_mm: f64,
    (rows, columns): (usize, usize),
    board_to_picture: &Homography<BoardMillimeters, BaselinePixels>,
) -> Result<Frame<Difference>, FrameError> {
    let map = board_to_picture.inverse();
    let (height, width) = field.dim();
    let value = |pixel: usize| {
        let place = map.apply(Point::new((pixel % columns) as f64, (pixel / columns) as f64));
        let (x, y) = (place.x / cell_mm, place.y / cell_mm);
        if !(x >= 0.0 && y >= 0.0 && x < width as f64 && y < height as f64) {
            return 0.0;
        }
        let along = |at: f64, count: usize| {
            let at = (at - 0.5).clamp(0.0, count as f64 - 1.0);
            let low = at as usize;
            (low, (low + 1).min(count - 1), at - low as f64)
        };
        let ((left, right, across), (above, below, down)) = (along(x, width), along(y, height));
        let line = |row: usize| field[(row, left)] * (1.0 - across) + field[(row, right)] * across;
        (line(above) * (1.0 - down) + line(below) * down) as f32
    };
    Frame::from_rows(rows, columns, (0..rows * columns).map(value).collect())
}

/// The plates tried: one, where the board's conductance is known.
pub(super) fn plates(board: &BoardPlate) -> Result<Vec<UniformPlate>, CannotTellPower> {
    let tried = board.sheet_conductance.map_or_else(conductances, |known| vec![known]);
    tried
        .into_iter()
        .map(|sheet_conductance| {
            let properties = PlateProperties { sheet_conductance, film: board.film };
            Ok(UniformPlate::new(properties, board.size_mm, CELL_MM)?)
        })
        .collect()
}

fn picked(field: &Array2<f64>, valid: &[usize]) -> DVector<f64> {
    let all = field.as_slice().unwrap_or_default();
    DVector::from_iterator(valid.len(), valid.iter().map(|&cell| all.get(cell).copied().unwrap_or(0.0)))
}

struct Scene<'a> {
    anomalies: &'a [Anomaly],
    footprints: &'a [Footprint],
    board_to_picture: &'a Homography<BoardMillimeters, BaselinePixels>,
    plate: &'a UniformPlate,
}

impl Scene<'_> {
    /// One watt over the part that the anomaly is named after, or over a disc.
    fn body_of(&self, anomaly: usize) -> Array2<f64> {
        let anomaly = &self.anomalies[anomaly];
        let named = anomaly.designator.as_ref();
        if let Some(footprint) = self.footprints.iter().find(|part| Some(&part.designator) == named) {
            return source(footprint, self.plate);
        }
        let map = self.board_to_picture.inverse();
        let center = map.apply(anomaly.peak);
        let area = anomaly.area_px as f64 * map.scale_at(anomaly.peak).powi(2);
        let radius = (area / std::f64::consts::PI).sqrt().clamp(DISC_MM[0], DISC_MM[1]);
        let cell = self.plate.cell_mm();
        let mut watts = Array2::from_shape_fn(self.plate.shape(), |(row, column)| {
            f64::from(u8::from(middle(row, column, cell).distance(center) <= radius))
        });
        let total = watts.sum();
        if total > 0.0 {
            watts /= total;
        }
        watts
    }

    /// The cell under an anomaly's peak.
    fn cell_of(&self, anomaly: usize) -> Option<(usize, usize)> {
        let place = self.board_to_picture.inverse().apply(self.anomalies[anomaly].peak);
        let (rows, columns) = self.plate.shape();
        let (row, column) = (place.y / self.plate.cell_mm(), place.x / self.plate.cell_mm());
        let inside = row >= 0.0 && column >= 0.0 && row < rows as f64 && column < columns as f64;
        inside.then_some((row as usize, column as usize))
    }
}

/// What the sources found so far send along the board.
struct Spreading {
    /// Each source's own share of the difference, K.
    glows: Vec<Array2<f64>>,
    watts: Vec<Estimate>,
}

impl Spreading {
    /// The best of the plates for these sources; `None` where they cannot be told from one another.
    fn fitted(
        plates: &[UniformPlate],
        bodies: &[Array2<f64>],
        seen: &DVector<f64>,
        valid: &[usize],
    ) -> Option<Self> {
        let all: Vec<usize> = (0..bodies.len()).collect();
        let tried = |plate: &UniformPlate| {
            let columns: Vec<_> = bodies.iter().map(|body| picked(&plate.response(body), valid)).collect();
            Some((fit(&columns, all.clone(), seen)?, columns))
        };
        let (plate, (taken, columns)) = best(plates, |plate| tried(plate), |(taken, _)| taken.left)?;
        let Taken { watts, .. } = &taken;
        let glows = bodies.iter().zip(watts.iter()).map(|(body, watts)| plate.response(body) * *watts);
        let deviations = uncertainties(&taken, &columns, seen, valid, plate);
        let estimates = watts.iter().zip(&deviations).map(|(&value, deviation)| Estimate {
            value,
            standard_uncertainty: deviation.hypot(WHOLE_BOARD * value),
        });
        Some(Self { glows: glows.collect(), watts: estimates.collect() })
    }

    fn watts(&self, source: usize) -> Option<Estimate> {
        let told = |watts: &&Estimate| watts.standard_uncertainty < TOLD * watts.value.abs();
        self.watts.get(source).filter(told).copied()
    }

    /// The source that most of an anomaly's difference comes from, if the sources explain it.
    fn explains(&self, scene: &Scene<'_>, anomaly: usize) -> Option<usize> {
        let cell = scene.cell_of(anomaly)?;
        let anomaly = &scene.anomalies[anomaly];
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
fn best<T>(
    plates: &[UniformPlate],
    tried: impl Fn(&UniformPlate) -> Option<T>,
    left: impl Fn(&T) -> f64,
) -> Option<(&UniformPlate, T)> {
    const STRIDE: usize = 4;
    let least = |places: &mut dyn Iterator<Item = usize>| -> Option<(usize, T)> {
        places
            .filter_map(|place| Some((place, tried(plates.get(place)?)?)))
            .min_by(|(_, a), (_, b)| left(a).total_cmp(&left(b)))
    };
    let (coarse, _) = least(&mut (0..plates.len()).step_by(STRIDE))?;
    let (fine, found) = least(&mut (coarse.saturating_sub(STRIDE - 1)..coarse + STRIDE))?;
    Some((plates.get(fine)?, found))
}
