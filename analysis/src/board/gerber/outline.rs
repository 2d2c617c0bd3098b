//! The board's outline: the lines of the profile joined to closed paths.

use std::collections::HashMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::drawing::Drawing;
use super::{GerberError, GerberWarning};
use crate::board::placement::Placement;
use crate::geometry::{BoardMillimeters, Point};

/// The board's edge and the edges of its openings, as polygons. Sharing them makes a session's copies cheap.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(from = "Vec<Vec<Point<BoardMillimeters>>>", into = "Vec<Vec<Point<BoardMillimeters>>>")]
pub struct BoardOutline(Arc<Vec<Vec<Point<BoardMillimeters>>>>);

impl From<Vec<Vec<Point<BoardMillimeters>>>> for BoardOutline {
    fn from(loops: Vec<Vec<Point<BoardMillimeters>>>) -> Self {
        Self(Arc::new(loops))
    }
}

impl From<BoardOutline> for Vec<Vec<Point<BoardMillimeters>>> {
    fn from(outline: BoardOutline) -> Self {
        Arc::unwrap_or_clone(outline.0)
    }
}

impl BoardOutline {
    /// The polygons in the file's own origin, the one that encloses most first; none where no outline is known.
    /// Arcs are flattened to chords no further than 0.01 mm from them.
    #[must_use]
    pub fn loops(&self) -> &[Vec<Point<BoardMillimeters>>] {
        &self.0
    }

    /// Whether no outline is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The corners of the upright rectangle around the board: lowest x and y first, then counter-clockwise.
    /// `None` where no outline is known.
    #[must_use]
    pub fn corners(&self) -> Option<[Point<BoardMillimeters>; 4]> {
        let edge = self.0.first()?;
        let [x0, y0, x1, y1] =
            edge.iter().fold([f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY], |b, p| {
                [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)]
            });
        (x0 <= x1).then(|| [(x0, y0), (x1, y0), (x1, y1), (x0, y1)].map(|(x, y)| Point::new(x, y)))
    }

    /// How far the board reaches along x and y, mm; nought where no outline is known.
    #[must_use]
    pub fn size(&self) -> [f64; 2] {
        self.corners().map_or([0.0; 2], |[low, _, high, _]| [high.x - low.x, high.y - low.y])
    }

    /// Whether at least half of the parts lie on the board: files are often written from different origins.
    #[must_use]
    pub fn fits(&self, placements: &[Placement]) -> bool {
        let Some([low, _, high, _]) = self.corners() else { return false };
        let within = |at: Point<BoardMillimeters>| {
            (low.x..=high.x).contains(&at.x) && (low.y..=high.y).contains(&at.y)
        };
        2 * placements.iter().filter(|part| within(part.center)).count() >= placements.len()
    }
}

/// Ends closer than this are one (own choice; no source), since writers round each end by itself; those up to three
/// times as far apart may be.
const SAME_PLACE_MM: f64 = 0.01;

/// Joins the lines of a profile. The path that encloses most is the board's edge, the others are openings.
pub(super) fn outline(
    file_name: &str,
    drawing: Drawing,
    warnings: &mut Vec<GerberWarning>,
) -> Result<BoardOutline, GerberError> {
    let (closed, open) = join(drawing.paths.into_iter().map(|path| path.points).collect());
    let mut loops: Vec<(f64, Chain)> =
        closed.into_iter().map(|edge| (area(&edge), edge)).filter(|(area, _)| *area > 0.0).collect();
    loops.sort_by(|(one, _), (other, _)| other.total_cmp(one));
    if loops.is_empty() {
        let file_name = file_name.to_owned();
        let longest = open.iter().max_by(|one, other| length(one).total_cmp(&length(other)));
        return Err(match longest.and_then(|chain| chain.last()) {
            Some(&at) => GerberError::NotClosed { file_name, at },
            None => GerberError::NoOutline { file_name },
        });
    }
    if !open.is_empty() {
        warnings.push(GerberWarning::LooseLines { count: open.len() });
    }
    let places = |edge: Chain| edge.into_iter().map(Point::from).collect();
    Ok(loops.into_iter().map(|(_, edge)| places(edge)).collect::<Vec<_>>().into())
}

/// Places along a line, mm.
type Chain = Vec<[f64; 2]>;

/// Closed paths without their repeated last point, and chains that stay open.
fn join(paths: Vec<Chain>) -> (Vec<Chain>, Vec<Chain>) {
    let mut ends = LooseEnds::default();
    let (mut closed, mut chains) = (Vec::new(), Vec::new());
    for path in paths {
        match closing(path) {
            Ok(edge) => closed.push(edge),
            Err(path) => {
                ends.add(chains.len(), &path);
                chains.push(Some(path));
            }
        }
    }
    let mut open = Vec::new();
    for place in 0..chains.len() {
        let Some(mut chain) = chains.get_mut(place).and_then(Option::take) else { continue };
        // First onwards from its end, then, turned round, from its beginning.
        let mut turned = false;
        let joined = loop {
            match closing(chain) {
                Ok(edge) => break Ok(edge),
                Err(path) => chain = path,
            }
            match chain.last().and_then(|&end| ends.take(end, &mut chains)) {
                Some(next) => chain.extend(next.into_iter().skip(1)),
                None if turned => break Err(chain),
                None => {
                    chain.reverse();
                    turned = true;
                }
            }
        };
        match joined {
            Ok(edge) => closed.push(edge),
            Err(chain) => open.push(chain),
        }
    }
    (closed, open)
}

/// A path whose ends meet, without the last point; otherwise the path as it is.
fn closing(mut path: Chain) -> Result<Chain, Chain> {
    match (path.first(), path.last()) {
        (Some(&first), Some(&last)) if path.len() > 3 && distance(first, last) <= SAME_PLACE_MM => {
            path.pop();
            Ok(path)
        }
        _ => Err(path),
    }
}

/// Where chains end, by cells as wide as two ends may lie apart.
#[derive(Default)]
struct LooseEnds(HashMap<[i64; 2], Vec<usize>>);

impl LooseEnds {
    fn cell([x, y]: [f64; 2]) -> [i64; 2] {
        [x, y].map(|length| (length / SAME_PLACE_MM).floor() as i64)
    }

    fn add(&mut self, chain: usize, path: &[[f64; 2]]) {
        for &end in path.first().into_iter().chain(path.last()) {
            self.0.entry(Self::cell(end)).or_default().push(chain);
        }
    }

    /// Takes a chain that ends here, with this end first.
    fn take(&mut self, here: [f64; 2], chains: &mut [Option<Chain>]) -> Option<Chain> {
        let [column, row] = Self::cell(here);
        for [x, y] in (-1..=1).flat_map(|x| (-1..=1).map(move |y| [column + x, row + y])) {
            let Some(cell) = self.0.get_mut(&[x, y]) else { continue };
            // A chain stands at both its ends, so it may be gone already.
            while let Some(chain) = cell.pop() {
                let Some(mut path) = chains.get_mut(chain).and_then(Option::take) else { continue };
                let away = |end: Option<&[f64; 2]>| end.map_or(f64::INFINITY, |&end| distance(end, here));
                if away(path.last()) < away(path.first()) {
                    path.reverse();
                }
                return Some(path);
            }
        }
        None
    }
}

fn distance(one: [f64; 2], other: [f64; 2]) -> f64 {
    (one[0] - other[0]).hypot(one[1] - other[1])
}

fn length(path: &[[f64; 2]]) -> f64 {
    path.windows(2).map(|ends| distance(ends[0], ends[1])).sum()
}

/// What a polygon encloses, mm² (half the sum of cross products).
fn area(edge: &[[f64; 2]]) -> f64 {
    let next = edge.iter().cycle().skip(1);
    let doubled: f64 = edge.iter().zip(next).map(|(a, b)| a[0] * b[1] - a[1] * b[0]).sum();
    doubled.abs() / 2.0
}
