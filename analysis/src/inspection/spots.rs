//! The spots of a difference picture: hills of one sign, each whole and each once.
//!
//! A strong fault warms its surroundings. Cutting the picture at a threshold would make a finding of
//! every ripple in that glow, so hills are told apart by prominence: how far the ground falls
//! between a hill and the higher one it is joined to.

use super::findings::Sign;
use crate::geometry::{BaselinePixels, Point};

/// A spot is followed out to this fraction of the tolerance, so that hills join although only their cores
/// exceed the tolerance itself.
const REACH: f32 = 0.5;
/// A hill beside a higher one counts for itself when it rises above the ground between them by this
/// fraction of its own height, if it lies on the body of another part…
const PROMINENCE_ON_ANOTHER_PART: f32 = 0.3;
/// …and by this fraction if it does not: glow over bare metal or a plane ripples by more.
const PROMINENCE_ELSEWHERE: f32 = 0.6;

/// A spot's top is looked for where the ratio of difference to tolerance reaches this fraction of the
/// spot's largest ratio. On the edge of a bare-metal part a hair of misplacement looks like several
/// kelvin; the tolerance there says so, and such a pixel must not name a wide, weak spot.
const TELLING: f32 = 0.8;

/// What is told of a spot's size is told of the pixels above this fraction of its top: the glow of a strong
/// fault covers half the board and says little of where it comes from.
const EXTENT: f32 = 0.5;

/// The pictures in which spots are looked for, row by row, all of one size.
#[derive(Clone, Copy)]
pub(super) struct Scene<'a> {
    /// Unit minus baseline, NaN where invalid.
    pub(super) difference: &'a [f32],
    /// The same averaged over 3 × 3 pixels: one noisy pixel makes no hill.
    pub(super) smooth: &'a [f32],
    /// What each pixel must exceed.
    pub(super) tolerance: &'a [f32],
    /// Pixels per row.
    pub(super) columns: usize,
}

/// One spot.
#[derive(Debug, Clone)]
pub(super) struct Spot {
    /// Index of the pixel with the largest smooth difference among the most telling ones, see [`TELLING`].
    pub(super) top: usize,
    /// Its extent: the pixels around the top whose smooth difference is at least [`EXTENT`] of the top's and
    /// whose own difference is valid and of the spot's sign.
    pub(super) area_px: u32,
    /// Sum of their differences.
    pub(super) sum: f64,
    /// Sums of column and row, weighted by the size of the difference.
    pub(super) weighted: [f64; 2],
    /// Left, top, right, bottom, inclusive.
    pub(super) bounds: [u32; 4],
    /// Largest ratio of smooth difference to tolerance.
    pub(super) significance: f32,
    /// Pixels that exceed the tolerance itself.
    exceeding_px: u32,
}

/// The spots of one sign that exceed the tolerance in at least `least_area_px` pixels.
///
/// All pixels that matter are visited from the highest down (8 neighbors each). One that touches
/// nothing visited starts a hill; one that joins hills is the saddle between them, and decides
/// whether the lower one stands for itself (see [`find`](super::findings::find)) or belongs to the other. A hill
/// that is joined to none stands for itself. `part_at` tells which part's body covers a pixel.
pub(super) fn spots(
    scene: &Scene<'_>,
    sign: Sign,
    least_area_px: u32,
    part_at: &dyn Fn(usize) -> Option<usize>,
) -> Vec<Spot> {
    let lowest = scene.tolerance.iter().copied().fold(f32::INFINITY, f32::min);
    let mut hills = Hills { scene, sign: sign.factor(), lowest, part_at, hills: Vec::new() };
    let order = hills.pixels_from_the_highest();
    const UNVISITED: u32 = u32::MAX;
    let mut labels = vec![UNVISITED; scene.difference.len()];
    for &pixel in &order {
        let mut highest: Option<usize> = None;
        let around = neighbors(pixel, scene.columns, scene.difference.len());
        let visited = |&near: &usize| labels[near] != UNVISITED;
        for near in around.clone().filter(visited) {
            if highest.is_none_or(|best| hills.height(near) > hills.height(best)) {
                highest = Some(near);
            }
        }
        let Some(highest) = highest else {
            labels[pixel] = hills.start(pixel);
            continue;
        };
        let beside = labels[highest];
        for near in around.filter(visited) {
            hills.join(beside, labels[near], pixel);
        }
        labels[pixel] = beside;
    }
    hills.measure(&order, &labels, least_area_px)
}

impl Spot {
    fn is_finding(&self, least_area_px: u32) -> bool {
        self.significance >= 1.0 && self.exceeding_px >= least_area_px.max(1)
    }
}

/// A hill during the flooding.
struct Hill {
    top: usize,
    /// A hill joined to this one, itself for the highest of those joined. Hills are started from the
    /// highest down, so the lower number is the higher hill.
    joined_to: u32,
    /// The hill that this one belongs to, itself while it stands alone.
    part_of: u32,
}

struct Hills<'a> {
    scene: &'a Scene<'a>,
    sign: f32,
    lowest: f32,
    part_at: &'a dyn Fn(usize) -> Option<usize>,
    hills: Vec<Hill>,
}

impl Hills<'_> {
    fn height(&self, pixel: usize) -> f32 {
        self.sign * self.scene.smooth[pixel]
    }

    fn tolerance(&self, pixel: usize) -> f32 {
        let tolerance = self.scene.tolerance[pixel];
        if tolerance.is_nan() { self.lowest } else { tolerance }
    }

    /// Ground below the lowest reach joins nothing; a pixel whose own difference reaches is kept, so
    /// that no edge of a spot is lost to the smoothing.
    fn pixels_from_the_highest(&self) -> Vec<usize> {
        let floor = REACH * self.lowest;
        let pictures = self.scene.smooth.iter().zip(self.scene.difference).zip(self.scene.tolerance);
        let mut keys: Vec<u64> = pictures
            .enumerate()
            .filter(|(_, ((smooth, difference), tolerance))| {
                self.sign * **smooth >= floor || self.sign * **difference >= REACH * **tolerance
            })
            .map(|(pixel, ((smooth, _), _))| {
                // Height above, place below: one whole number sorts by both. Heights are positive
                // here, or so low that their order does not matter.
                let height = (self.sign * smooth).max(0.0).to_bits();
                (u64::from(u32::MAX - height) << 32) | pixel as u64
            })
            .collect();
        keys.sort_unstable();
        keys.into_iter().map(|key| (key & u64::from(u32::MAX)) as usize).collect()
    }

    fn start(&mut self, top: usize) -> u32 {
        let number = self.hills.len() as u32;
        self.hills.push(Hill { top, joined_to: number, part_of: number });
        number
    }

    fn join(&mut self, one: u32, other: u32, saddle: usize) {
        let (one_root, other_root) = (self.highest_joined(one), self.highest_joined(other));
        if one_root == other_root {
            return;
        }
        let (lower, higher_side) = if one_root > other_root { (one_root, other) } else { (other_root, one) };
        let higher = self.owner(higher_side);
        if !self.is_distinct(lower, higher, saddle) {
            self.hills[lower as usize].part_of = higher;
        }
        self.hills[lower as usize].joined_to = one_root.min(other_root);
    }

    /// Whether a hill stands for itself beside the higher one that it meets at `saddle`: it must
    /// exceed the tolerance, rise above the saddle by more than the tolerance, and do so by a large
    /// part of its own height.
    fn is_distinct(&self, lower: u32, higher: u32, saddle: usize) -> bool {
        let top = self.hills[lower as usize].top;
        let height = self.height(top);
        let prominence = height - self.height(saddle);
        if prominence < self.tolerance(top) || prominence < PROMINENCE_ON_ANOTHER_PART * height {
            return false;
        }
        if prominence >= PROMINENCE_ELSEWHERE * height {
            return true;
        }
        let part = (self.part_at)(top);
        part.is_some() && part != (self.part_at)(self.hills[higher as usize].top)
    }

    fn highest_joined(&mut self, mut hill: u32) -> u32 {
        while self.hills[hill as usize].joined_to != hill {
            let next = self.hills[hill as usize].joined_to;
            // Halving the way keeps it short for whoever comes next.
            self.hills[hill as usize].joined_to = self.hills[next as usize].joined_to;
            hill = next;
        }
        hill
    }

    fn owner(&self, mut hill: u32) -> u32 {
        while self.hills[hill as usize].part_of != hill {
            hill = self.hills[hill as usize].part_of;
        }
        hill
    }

    fn measure(&self, order: &[usize], labels: &[u32], least_area_px: u32) -> Vec<Spot> {
        let owners: Vec<u32> = (0..self.hills.len() as u32).map(|hill| self.owner(hill)).collect();
        let owner_of = |pixel: usize| owners.get(labels[pixel] as usize).copied();
        let mut spots: Vec<Spot> = self.hills.iter().map(|hill| Spot::at(hill.top)).collect();
        for &pixel in order {
            let spot = &mut spots[owners[labels[pixel] as usize] as usize];
            let tolerance = self.tolerance(pixel);
            // An invalid pixel compares as false: it lends its place to the hill, not its area.
            let exceeds = self.sign * self.scene.difference[pixel] >= tolerance;
            spot.exceeding_px += u32::from(exceeds);
            spot.significance = spot.significance.max(self.height(pixel) / tolerance);
        }
        let mut topped = vec![false; spots.len()];
        for &pixel in order {
            let owner = owners[labels[pixel] as usize] as usize;
            let spot = &mut spots[owner];
            // From the highest down: the first telling pixel is the highest.
            let telling = self.height(pixel) >= TELLING * spot.significance * self.tolerance(pixel);
            if telling && !topped[owner] {
                topped[owner] = true;
                spot.top = pixel;
            }
        }
        let mut reached = vec![false; labels.len()];
        let found = (0..).zip(spots).filter(|(_, spot)| spot.is_finding(least_area_px));
        found
            .map(|(number, mut spot)| {
                self.scene
                    .spread(&mut spot, self.sign, &mut reached, &|pixel| owner_of(pixel) == Some(number));
                spot
            })
            .collect()
    }
}

impl Scene<'_> {
    /// Where a pixel lies.
    pub(super) fn place(&self, pixel: usize) -> Point<BaselinePixels> {
        Point::new((pixel % self.columns) as f64, (pixel / self.columns) as f64)
    }

    /// The pixel at a place; `None` outside the picture.
    pub(super) fn pixel(&self, place: Point<BaselinePixels>) -> Option<usize> {
        let (column, row) = (place.x.round(), place.y.round());
        let inside = column >= 0.0 && row >= 0.0 && column < self.columns as f64;
        let pixel = row as usize * self.columns + column as usize;
        (inside && pixel < self.difference.len()).then_some(pixel)
    }

    /// The spot whose top is known from elsewhere, as far as it hangs together.
    pub(super) fn spot_around(&self, top: usize, sign: Sign) -> Spot {
        let mut spot = Spot::at(top);
        self.spread(&mut spot, sign.factor(), &mut vec![false; self.difference.len()], &|_| true);
        spot
    }

    /// Walks from the top over the spot's own pixels down to [`EXTENT`] of its height.
    fn spread(&self, spot: &mut Spot, sign: f32, reached: &mut [bool], is_own: &dyn Fn(usize) -> bool) {
        let height = |pixel: usize| sign * self.smooth[pixel];
        let top = spot.top;
        let least = EXTENT * height(top);
        let mut add = |pixel: usize, difference: f32| {
            spot.add(pixel % self.columns, pixel / self.columns, f64::from(difference));
        };
        let mut pending = vec![top];
        reached[top] = true;
        let mut is_empty = true;
        while let Some(pixel) = pending.pop() {
            let difference = sign * self.difference[pixel];
            if difference > 0.0 {
                add(pixel, difference);
                is_empty = false;
            }
            for near in neighbors(pixel, self.columns, self.difference.len()) {
                if !reached[near] && height(near) >= least && is_own(near) {
                    reached[near] = true;
                    pending.push(near);
                }
            }
        }
        // A top over nothing but invalid or contrary pixels still is a place.
        if is_empty {
            add(top, height(top));
        }
    }
}

impl Spot {
    const fn at(top: usize) -> Self {
        Self {
            top,
            area_px: 0,
            sum: 0.0,
            weighted: [0.0; 2],
            bounds: [u32::MAX, u32::MAX, 0, 0],
            significance: 0.0,
            exceeding_px: 0,
        }
    }

    fn add(&mut self, column: usize, row: usize, difference: f64) {
        self.area_px += 1;
        self.sum += difference;
        self.weighted[0] += difference * column as f64;
        self.weighted[1] += difference * row as f64;
        let (x, y) = (column as u32, row as u32);
        let [left, top, right, bottom] = self.bounds;
        self.bounds = [left.min(x), top.min(y), right.max(x), bottom.max(y)];
    }
}

/// The up to eight pixels around one.
fn neighbors(pixel: usize, columns: usize, count: usize) -> impl Iterator<Item = usize> + Clone {
    let column = pixel % columns;
    let row = pixel / columns;
    let last_row = count / columns - 1;
    let across = column.saturating_sub(1)..=(column + 1).min(columns - 1);
    (row.saturating_sub(1)..=(row + 1).min(last_row))
        .flat_map(move |row| across.clone().map(move |column| row * columns + column))
        .filter(move |&near| near != pixel)
}
