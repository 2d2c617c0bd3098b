//! From what a person stated of the surface to the emissivity of every pixel.
//!
//! Regions are laid over each other in order, the last on top; a pixel belongs to a region when its
//! centre does. A region in board millimetres is tested on the board, at the pixel's own place there,
//! so its edge is exact under perspective; without a known map such a region is passed over.

use crate::frame::{EmissivityFraction, EmissivityUncertainty, Frame, FrameError, RawNumber};
use crate::geometry::{BaselinePixels, BoardMillimeters, Homography, Point, whole_numbers};
use crate::surface::outline::{Bounds, Outline};
use crate::surface::region::{Finish, PlacedOutline, Surface};

/// The emissivities that a file's numbers state, of the same shape; a number that is no emissivity is
/// invalid, which leaves its pixel to the stated value.
#[must_use]
pub fn emissivities_of(pixels: &Frame<RawNumber>) -> Frame<EmissivityFraction> {
    pixels.map(|number| if number > 0.0 && number <= 1.0 { number } else { f32::NAN })
}

/// The standard uncertainties that a file's numbers state, of the same shape; a number that is none is invalid.
#[must_use]
pub fn emissivity_uncertainties_of(pixels: &Frame<RawNumber>) -> Frame<EmissivityUncertainty> {
    pixels.map(|number| if number >= 0.0 { number } else { f32::NAN })
}

/// The emissivity of every pixel of the baseline frame, of shape `shape` = (rows, columns).
///
/// `board_to_picture` places the regions drawn on the board. Where `picture` holds an emissivity, that
/// takes the place of the whole surface's; it lies below every region.
///
/// # Errors
/// [`FrameError::Empty`] for a shape without pixels, [`FrameError::ShapeMismatch`] when `picture` has
/// another shape.
pub fn emissivity_map(
    surface: &Surface,
    shape: (usize, usize),
    board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
    picture: Option<&Frame<EmissivityFraction>>,
) -> Result<Frame<EmissivityFraction>, FrameError> {
    let stated = |emissivity: f32| emissivity > 0.0 && emissivity <= 1.0;
    lay(surface, shape, board_to_picture, picture, stated, |finish| finish.emissivity.value() as f32)
}

/// The standard uncertainty of [`emissivity_map`], pixel by pixel: that of the finish which decides the
/// pixel. Where `picture` holds an uncertainty, that takes the place of the whole surface's, as the
/// emissivity picture beside it does.
///
/// # Errors
/// As [`emissivity_map`].
pub fn emissivity_uncertainty_map(
    surface: &Surface,
    shape: (usize, usize),
    board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
    picture: Option<&Frame<EmissivityUncertainty>>,
) -> Result<Frame<EmissivityUncertainty>, FrameError> {
    let stated = |uncertainty: f32| uncertainty >= 0.0;
    lay(surface, shape, board_to_picture, picture, stated, |finish| finish.uncertainty as f32)
}

/// A property of the surface for every pixel: `of` a finish, or as `picture` has it where that is `stated`.
fn lay<Q>(
    surface: &Surface,
    shape: (usize, usize),
    board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
    picture: Option<&Frame<Q>>,
    stated: impl Fn(f32) -> bool,
    of: impl Fn(&Finish) -> f32,
) -> Result<Frame<Q>, FrameError> {
    let (rows, columns) = shape;
    let mut values = vec![of(&surface.whole); rows * columns];
    if let Some(picture) = picture {
        if picture.shape() != shape {
            return Err(FrameError::ShapeMismatch { expected: shape, found: picture.shape() });
        }
        for (value, &own) in values.iter_mut().zip(picture.as_slice()) {
            if stated(own) {
                *value = own;
            }
        }
    }
    let mut canvas = Canvas { rows, columns, values };
    let picture_to_board = board_to_picture.map(Homography::inverse);
    for region in &surface.regions {
        let value = of(&region.finish);
        match (&region.outline, board_to_picture, &picture_to_board) {
            (PlacedOutline::Pixels(outline), _, _) => canvas.lay(outline, value, Some, |pixel| pixel),
            (PlacedOutline::Board(outline), Some(there), Some(back)) => {
                canvas.lay(outline, value, |bounds| bounds.mapped(there), |pixel| back.apply(pixel));
            }
            (PlacedOutline::Board(_), _, _) => {}
        }
    }
    Frame::from_rows(rows, columns, canvas.values)
}

/// What decides the emissivity of a pixel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecidedBy {
    /// No region lies there: the whole surface's finish, or the emissivity picture where there is one.
    Whole,
    /// The region at this index of [`Surface::regions`].
    Region(usize),
}

/// What decides the emissivity at `pixel`, and the finish it states.
#[must_use]
pub fn finish_at<'a>(
    surface: &'a Surface,
    pixel: Point<BaselinePixels>,
    board_to_picture: Option<&Homography<BoardMillimeters, BaselinePixels>>,
) -> (DecidedBy, &'a Finish) {
    let on_board = board_to_picture.map(|map| map.inverse().apply(pixel));
    for (index, region) in surface.regions.iter().enumerate().rev() {
        let inside = match &region.outline {
            PlacedOutline::Pixels(outline) => outline.contains(pixel),
            PlacedOutline::Board(outline) => on_board.is_some_and(|place| outline.contains(place)),
        };
        if inside {
            return (DecidedBy::Region(index), &region.finish);
        }
    }
    (DecidedBy::Whole, &surface.whole)
}

/// A property under work, row by row.
struct Canvas {
    rows: usize,
    columns: usize,
    values: Vec<f32>,
}

impl Canvas {
    /// Lays `value` over the pixels whose centre, moved by `place`, is inside `outline`.
    ///
    /// Only pixels in the `shadow` of the outline's bounds are tried; `None` means all.
    fn lay<S>(
        &mut self,
        outline: &Outline<S>,
        value: f32,
        shadow: impl Fn(Bounds<S>) -> Option<Bounds<BaselinePixels>>,
        place: impl Fn(Point<BaselinePixels>) -> Point<S>,
    ) {
        match outline {
            // A stroke's box is mostly empty; the boxes of its steps are not.
            Outline::Stroke { path, radius } if path.len() > 2 => {
                for step in path.windows(2) {
                    let step = Outline::Stroke { path: step.to_vec(), radius: *radius };
                    self.lay_piece(&step, value, &shadow, &place);
                }
            }
            whole => self.lay_piece(whole, value, &shadow, &place),
        }
    }

    fn lay_piece<S>(
        &mut self,
        piece: &Outline<S>,
        value: f32,
        shadow: impl Fn(Bounds<S>) -> Option<Bounds<BaselinePixels>>,
        place: impl Fn(Point<BaselinePixels>) -> Point<S>,
    ) {
        let Some(bounds) = piece.bounds() else { return };
        let (rows, columns) = match shadow(bounds) {
            Some(Bounds { least, most }) => {
                (whole_numbers(least.y, most.y, self.rows), whole_numbers(least.x, most.x, self.columns))
            }
            None => (0..self.rows, 0..self.columns),
        };
        let lines = self.values.chunks_exact_mut(self.columns.max(1)).enumerate();
        for (row, line) in lines.skip(rows.start).take(rows.len()) {
            let Some(pixels) = line.get_mut(columns.clone()) else { continue };
            for (pixel, column) in pixels.iter_mut().zip(columns.clone()) {
                if piece.contains(place(Point::new(column as f64, row as f64))) {
                    *pixel = value;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surface::Region;
    use crate::units::Emissivity;

    fn finish(emissivity: f64) -> Finish {
        Finish::stated(Emissivity::new(emissivity).unwrap(), 0.01)
    }

    fn region(outline: PlacedOutline, emissivity: f64) -> Region {
        Region { name: String::new(), outline, finish: finish(emissivity) }
    }

    fn rectangle<S>(from: [f64; 2], to: [f64; 2]) -> Outline<S> {
        Outline::Rectangle { from: from.into(), to: to.into() }
    }

    fn surface(regions: Vec<Region>) -> Surface {
        Surface { whole: finish(0.9), map: None, map_uncertainty: None, regions }
    }

    /// A board seen at an angle: about 4 pixels a millimetre, one side nearer than the other.
    fn perspective() -> Homography<BoardMillimeters, BaselinePixels> {
        Homography::try_from([4.0, 0.3, 3.0, -0.2, 4.2, 5.0, 0.004, 0.002, 1.0]).unwrap()
    }

    #[test]
    fn later_regions_lie_on_top_and_edges_belong() {
        let surface = surface(vec![
            region(PlacedOutline::Pixels(rectangle([1.0, 1.0], [3.0, 2.0])), 0.5),
            region(PlacedOutline::Pixels(rectangle([3.0, 2.0], [9.0, 9.0])), 0.1),
        ]);
        let map = emissivity_map(&surface, (4, 5), None, None).unwrap();
        let expected = [
            [0.9, 0.9, 0.9, 0.9, 0.9],
            [0.9, 0.5, 0.5, 0.5, 0.9],
            [0.9, 0.5, 0.5, 0.1, 0.1],
            [0.9, 0.9, 0.9, 0.1, 0.1],
        ];
        assert_eq!(map.as_slice(), expected.concat());
    }

    #[test]
    fn a_picture_replaces_the_whole_where_it_is_valid_and_lies_below_regions() {
        let surface = surface(vec![region(PlacedOutline::Pixels(rectangle([3.0, 0.0], [3.0, 0.0])), 0.1)]);
        let picture = Frame::from_rows(1, 4, vec![0.3, f32::NAN, 1.7, 0.3]).unwrap();
        let map = emissivity_map(&surface, (1, 4), None, Some(&picture)).unwrap();
        assert_eq!(map.as_slice(), [0.3, 0.9, 0.9, 0.1]);
        assert_eq!(
            emissivity_map(&surface, (2, 4), None, Some(&picture)),
            Err(FrameError::ShapeMismatch { expected: (2, 4), found: (1, 4) })
        );
        assert!(matches!(emissivity_map(&surface, (0, 4), None, None), Err(FrameError::Empty { .. })));
    }

    #[test]
    fn a_board_region_follows_the_board_and_is_passed_over_without_a_map() {
        let surface = surface(vec![region(PlacedOutline::Board(rectangle([2.0, 2.0], [6.0, 4.0])), 0.1)]);
        let map = Homography::try_from([4.0, 0.0, 3.0, 0.0, 4.0, 5.0, 0.0, 0.0, 1.0]).unwrap();
        let emissivities = emissivity_map(&surface, (40, 40), Some(&map), None).unwrap();
        // 2 to 6 mm at 4 px/mm and 3 px offset: columns 11 to 27; 2 to 4 mm and 5 px: rows 13 to 21.
        assert_eq!(emissivities.view().iter().filter(|&&e| e == 0.1).count(), 17 * 9);
        assert_eq!([(13, 11), (21, 27)].map(|(y, x)| emissivities.at(y, x)), [Some(0.1), Some(0.1)]);
        let skipped = emissivity_map(&surface, (40, 40), None, None).unwrap();
        assert!(skipped.as_slice().iter().all(|&e| e == 0.9));
    }

    #[test]
    fn the_map_and_the_cursor_read_the_same_finish_everywhere() {
        let (rows, columns) = (60, 80);
        let path = vec![Point::new(3.0, 3.0), Point::new(12.0, 8.0), Point::new(4.0, 12.0)];
        let surface = surface(vec![
            region(
                PlacedOutline::Board(Outline::Ellipse { from: [1.0, 1.0].into(), to: [9.0, 7.0].into() }),
                0.5,
            ),
            region(PlacedOutline::Pixels(rectangle([-20.0, 30.0], [33.3, 500.0])), 0.4),
            region(PlacedOutline::Board(Outline::Stroke { path, radius: 1.5 }), 0.3),
            region(
                PlacedOutline::Board(Outline::Polygon {
                    corners: vec![Point::new(10.0, 2.0), Point::new(17.0, 9.0), Point::new(9.0, 11.0)],
                }),
                0.2,
            ),
        ]);
        let map = perspective();
        let emissivities = emissivity_map(&surface, (rows, columns), Some(&map), None).unwrap();
        let mut seen = std::collections::BTreeSet::new();
        for row in 0..rows {
            for column in 0..columns {
                let (decided_by, finish) =
                    finish_at(&surface, Point::new(column as f64, row as f64), Some(&map));
                let expected = finish.emissivity.value() as f32;
                assert_eq!(emissivities.at(row, column), Some(expected), "row {row}, column {column}");
                seen.insert(format!("{decided_by:?}"));
            }
        }
        assert_eq!(seen.len(), 5, "every region and the whole decide some pixel: {seen:?}");
    }
}
