//! The board between the parts' bodies, cell by cell, and what a watt under a body does there.
//!
//! Temperature shows power blurred by conduction. The bodies themselves are left out: a case is warmer than the board
//! below it by a resistance that nobody stated. The plate is uniform, boards are not: on simulated boards of mixed
//! copper sizes came out up to a sixth too small.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::plate::{NoPlate, PlateProperties, PowerWaves, UniformPlate};
use super::summed_area::SummedArea;
use crate::board::Footprint;
use crate::frame::{Difference, Frame, FrameError};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use crate::units::Watts;

/// The board as the estimate of heat sees it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BoardPlate {
    /// Width and height, mm; the lower left corner lies at (0, 0).
    pub size_mm: [f64; 2],
    /// Heat loss of both faces together, W/m²K; see [`film_from_heat_balance`].
    pub film: f64,
    /// k·t, W/K; `None` has it fitted to the picture.
    pub sheet_conductance: Option<f64>,
}

/// The film coefficient that lets `power` leave a board of `size_mm` at `mean_rise` kelvin, W/m²K.
///
/// All of the power must leave by the board's faces; a heat sink or a cable takes its share unseen.
#[must_use]
pub fn film_from_heat_balance(power: Watts, mean_rise: f64, size_mm: [f64; 2]) -> f64 {
    power.value() / (mean_rise * size_mm[0] * size_mm[1] * 1e-6)
}

/// Why no power can be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CannotTellPower {
    /// The plate's numbers are no plate.
    #[error(transparent)]
    Plate(#[from] NoPlate),
    /// Pictures of different size.
    #[error(transparent)]
    Shape(#[from] FrameError),
    /// No bare board is in view.
    #[error("only {found} places of bare board are valid in the picture; at least {needed} are needed")]
    TooLittleBoard {
        /// Places found.
        found: usize,
        /// Places needed.
        needed: usize,
    },
}

/// The least edge of a cell, mm: a part's body is told from its neighbour's.
const LEAST_CELL_MM: f64 = 1.0;
/// A larger board is cut into no more cells than about this, so that what is kept of every source tried stays small; heat
/// spreads over centimetres and does not mind.
const MOST_CELLS: f64 = 12_000.0;
/// The board's blur around a body that its case still reaches, mm.
const BODY_MARGIN_MM: f64 = 0.8;
/// A cell counts when this share of its pixels is valid.
const LEAST_VALID: f64 = 0.5;

/// Sheet conductances tried, W/K: from bare laminate to four full layers of copper, a seventh apart.
fn conductances() -> Vec<f64> {
    (0..26).map(|step| 0.002 * 1.14_f64.powi(step)).collect()
}

/// What makes heat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Maker {
    /// The footprint of this index.
    Part(usize),
    /// Something under no part.
    Disc {
        /// Its middle.
        center: Point<BoardMillimeters>,
        /// mm.
        radius: f64,
    },
}

/// One watt in a body and, once asked for, what it does on each plate.
struct OneWatt {
    maker: Maker,
    waves: PowerWaves,
    on_plates: Vec<Option<Array2<f64>>>,
}

/// Where a cell lies in the picture: its pixel, and how far the pixels around it belong to it.
struct CellInPicture {
    row: usize,
    column: usize,
    radius: usize,
}

/// The board between the bodies, in a picture of one shape.
///
/// What does not change from one difference to the next is worked out once and kept.
pub struct BareBoard<'a> {
    pub(super) footprints: &'a [Footprint],
    picture_to_board: Homography<BaselinePixels, BoardMillimeters>,
    shape: (usize, usize),
    cell_mm: f64,
    /// Row by row; `None` on and beside bodies, and out of the picture.
    cells: Vec<Option<CellInPicture>>,
    plates: Vec<UniformPlate>,
    watts: Vec<OneWatt>,
}

impl std::fmt::Debug for BareBoard<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "BareBoard({:?} cells of {} mm in {:?} pixels)", self.shape(), self.cell_mm, self.shape)
    }
}

impl<'a> BareBoard<'a> {
    /// The board in pictures of `shape`; several plates are tried where its conductance is not known.
    ///
    /// # Errors
    /// [`CannotTellPower::Plate`].
    pub fn new(
        footprints: &'a [Footprint],
        board_to_picture: &Homography<BoardMillimeters, BaselinePixels>,
        board: &BoardPlate,
        shape: (usize, usize),
    ) -> Result<Self, CannotTellPower> {
        let tried = board.sheet_conductance.map_or_else(conductances, |known| vec![known]);
        let least = tried.first().copied().unwrap_or(f64::NAN);
        let properties = PlateProperties { sheet_conductance: least, film: board.film };
        let [width, height] = board.size_mm;
        let cell_mm = (width * height / MOST_CELLS).sqrt().max(LEAST_CELL_MM);
        let plate = UniformPlate::new(properties, board.size_mm, cell_mm)?;
        let plates: Result<Vec<_>, NoPlate> = tried.into_iter().map(|each| plate.conducting(each)).collect();
        let places = (0..plate.shape().0)
            .flat_map(|row| (0..plate.shape().1).map(move |column| middle(row, column, cell_mm)));
        let in_picture = |place: Point<BoardMillimeters>| {
            if footprints.iter().any(|footprint| footprint.distance_mm(place) < BODY_MARGIN_MM) {
                return None;
            }
            let pixel = board_to_picture.apply(place);
            let inside =
                pixel.x >= 0.0 && pixel.y >= 0.0 && pixel.x < shape.1 as f64 && pixel.y < shape.0 as f64;
            let radius = (board_to_picture.scale_at(place) * cell_mm / 2.0).round() as usize;
            inside.then_some(CellInPicture { row: pixel.y as usize, column: pixel.x as usize, radius })
        };
        Ok(Self {
            cells: places.map(in_picture).collect(),
            plates: plates?,
            watts: Vec::new(),
            picture_to_board: board_to_picture.inverse(),
            footprints,
            shape,
            cell_mm,
        })
    }

    /// How many plates are tried, from the one that conducts least on.
    pub(super) fn plates(&self) -> usize {
        self.plates.len()
    }

    /// Edge of a cell, mm.
    pub(super) const fn cell_mm(&self) -> f64 {
        self.cell_mm
    }

    /// Rows and columns of cells.
    pub(super) fn shape(&self) -> (usize, usize) {
        self.plates.first().map_or((0, 0), UniformPlate::shape)
    }

    /// Where bare board is seen, and the difference there, K: cells in order.
    ///
    /// # Errors
    /// [`FrameError::ShapeMismatch`].
    pub(super) fn seen(&self, difference: &Frame<Difference>) -> Result<(Vec<usize>, Vec<f64>), FrameError> {
        if difference.shape() != self.shape {
            return Err(FrameError::ShapeMismatch { expected: self.shape, found: difference.shape() });
        }
        let table = SummedArea::new(self.shape, difference.as_slice().iter().copied());
        let mean = |cell: &CellInPicture| {
            let (mean, share) = table.mean_around(cell.row, cell.column, cell.radius);
            (share >= LEAST_VALID).then_some(mean)
        };
        let cells = self.cells.iter().enumerate();
        Ok(cells.filter_map(|(index, cell)| Some((index, mean(cell.as_ref()?)?))).unzip())
    }

    /// What one watt of `maker` does on plate number `plate`, K in each cell.
    pub(super) fn one_watt(&mut self, maker: Maker, plate: usize) -> Option<&Array2<f64>> {
        let tried = self.plates.get(plate)?;
        let known = match self.watts.iter().position(|watt| watt.maker == maker) {
            Some(known) => known,
            None => {
                let waves = tried.waves(&self.body(maker));
                self.watts.push(OneWatt { maker, waves, on_plates: vec![None; self.plates.len()] });
                self.watts.len() - 1
            }
        };
        let watt = self.watts.get_mut(known)?;
        let on_plate = watt.on_plates.get_mut(plate)?;
        Some(on_plate.get_or_insert_with(|| tried.response_to(&watt.waves)))
    }

    /// One watt spread evenly over a body.
    fn body(&self, maker: Maker) -> Array2<f64> {
        let away = |place: Point<BoardMillimeters>| match maker {
            Maker::Part(part) => {
                self.footprints.get(part).map_or(f64::INFINITY, |part| part.distance_mm(place))
            }
            Maker::Disc { center, radius } => (place.distance(center) - radius).max(0.0),
        };
        let mut watts = Array2::zeros(self.shape());
        let mut nearest = (f64::INFINITY, (0, 0));
        for ((row, column), share) in watts.indexed_iter_mut() {
            let place = middle(row, column, self.cell_mm);
            let distance = away(place);
            if distance < nearest.0 {
                nearest = (distance, (row, column));
            }
            if distance < self.cell_mm {
                let offsets = [-0.375, -0.125, 0.125, 0.375].map(|offset| offset * self.cell_mm);
                let covered = offsets
                    .iter()
                    .flat_map(|x| offsets.iter().map(move |y| (x, y)))
                    .filter(|(x, y)| away(Point::new(place.x + **x, place.y + **y)) <= 0.0);
                *share = covered.count() as f64;
            }
        }
        let total: f64 = watts.sum();
        if total > 0.0 {
            watts /= total;
        } else {
            // A body that slips between the points, or lies off the board.
            watts[nearest.1] = 1.0;
        }
        watts
    }

    /// The corner of cells that lies nearest to a place of the picture.
    pub(super) fn nearest_corner(&self, place: Point<BaselinePixels>) -> Point<BoardMillimeters> {
        let place = self.picture_to_board.apply(place);
        let whole = |along: f64| (along / self.cell_mm).round() * self.cell_mm;
        Point::new(whole(place.x), whole(place.y))
    }

    /// The cell under a place of the picture.
    pub(super) fn cell_of(&self, place: Point<BaselinePixels>) -> Option<(usize, usize)> {
        let place = self.picture_to_board.apply(place);
        let (rows, columns) = self.shape();
        let (row, column) = (place.y / self.cell_mm, place.x / self.cell_mm);
        let inside = row >= 0.0 && column >= 0.0 && row < rows as f64 && column < columns as f64;
        inside.then_some((row as usize, column as usize))
    }

    /// A field of cells taken off a picture, linear between the cells' middles.
    pub(super) fn take_off(&self, field: &Array2<f64>, picture: &mut Array2<f32>) {
        let (height, width) = field.dim();
        for ((row, column), kelvin) in picture.indexed_iter_mut() {
            let place = self.picture_to_board.apply(Point::new(column as f64, row as f64));
            let (x, y) = (place.x / self.cell_mm, place.y / self.cell_mm);
            if !(x >= 0.0 && y >= 0.0 && x < width as f64 && y < height as f64) {
                continue;
            }
            let along = |at: f64, count: usize| {
                let at = (at - 0.5).clamp(0.0, count as f64 - 1.0);
                let low = at as usize;
                (low, (low + 1).min(count - 1), at - low as f64)
            };
            let ((left, right, across), (above, below, down)) = (along(x, width), along(y, height));
            let line = |row: usize| field[(row, left)] * (1.0 - across) + field[(row, right)] * across;
            *kelvin -= (line(above) * (1.0 - down) + line(below) * down) as f32;
        }
    }
}

fn middle(row: usize, column: usize, cell_mm: f64) -> Point<BoardMillimeters> {
    Point::new((column as f64 + 0.5) * cell_mm, (row as f64 + 0.5) * cell_mm)
}
