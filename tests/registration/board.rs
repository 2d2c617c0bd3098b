//! An invented board drawn from formulas, so that the truth owes nothing to our own warp.

use analysis::frame::{ApparentKelvin, Frame};
use analysis::geometry::{BaselinePixels, Homography, Point, UnitPixels};
use ndarray::{Array2, Axis};

/// Side of the squares a picture is drawn in.
const TILE: usize = 20;

/// Unit pixels to baseline pixels.
pub type UnitMap = Homography<UnitPixels, BaselinePixels>;

/// A deterministic stream of numbers (SplitMix64; Steele, Lea, Flood, OOPSLA 2014).
pub struct Numbers(pub u64);

impl Numbers {
    /// The next number, 0 to 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, lo: f64, hi: f64) -> f64 {
        lo + (hi - lo) * self.uniform()
    }

    /// The next Gaussian number (Box and Muller).
    pub fn gaussian(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// A rectangle warmer or colder than what it lies on, its edge blurred by a Gaussian.
#[derive(Clone, Debug)]
pub struct Part {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
    pub rise: f64,
    pub blur: f64,
}

impl Part {
    pub fn new([left, top, right, bottom]: [f64; 4], rise: f64) -> Self {
        Self { left, top, right, bottom, rise, blur: 1.0 }
    }

    fn is_near(&self, place: Point<BaselinePixels>, reach: f64) -> bool {
        let reach = reach + 4.0 * self.blur;
        let (x, y) = (place.x, place.y);
        x > self.left - reach && x < self.right + reach && y > self.top - reach && y < self.bottom + reach
    }

    fn at(&self, x: f64, y: f64) -> f64 {
        let reach = 4.0 * self.blur;
        if x < self.left - reach || x > self.right + reach || y < self.top - reach || y > self.bottom + reach
        {
            return 0.0;
        }
        let step =
            |distance: f64| 0.5 * (1.0 + error_function(distance / (self.blur * std::f64::consts::SQRT_2)));
        self.rise
            * (step(x - self.left) - step(x - self.right))
            * (step(y - self.top) - step(y - self.bottom))
    }
}

/// A smooth rise, as around a fault or over a warm plane.
#[derive(Clone, Debug)]
pub struct Halo {
    pub center: [f64; 2],
    pub width: f64,
    pub rise: f64,
}

/// A board in the baseline's pixels.
#[derive(Clone, Debug)]
pub struct Board {
    pub parts: Vec<Part>,
    pub halos: Vec<Halo>,
    pub outline: [f64; 4],
}

impl Board {
    /// A board of 70 parts for a picture of 640 × 480.
    pub fn invented(seed: u64) -> Self {
        let mut numbers = Numbers(seed);
        let outline = [45.0, 35.0, 600.0, 450.0];
        let mut parts = vec![Part::new(outline, 9.0)];
        for _ in 0..70 {
            let (width, height) = (numbers.between(5.0, 45.0), numbers.between(5.0, 40.0));
            let left = numbers.between(outline[0] + 5.0, outline[2] - width - 5.0);
            let top = numbers.between(outline[1] + 5.0, outline[3] - height - 5.0);
            parts.push(Part::new([left, top, left + width, top + height], numbers.between(-4.0, 10.0)));
        }
        let halos = vec![
            Halo { center: [220.0, 180.0], width: 90.0, rise: 12.0 },
            Halo { center: [430.0, 330.0], width: 60.0, rise: 8.0 },
        ];
        Self { parts, halos, outline }
    }

    fn at(&self, x: f64, y: f64, parts: &[&Part]) -> f64 {
        let parts: f64 = parts.iter().map(|part| part.at(x, y)).sum();
        let halos: f64 = (self.halos.iter())
            .map(|halo| {
                let r2 = (x - halo.center[0]).powi(2) + (y - halo.center[1]).powi(2);
                halo.rise * (-0.5 * r2 / (halo.width * halo.width)).exp()
            })
            .sum();
        296.0 + parts + halos
    }

    /// The board as a camera sees it whose pixels `map` leads to the baseline's.
    pub fn seen(&self, map: &UnitMap, shape: (usize, usize), noise: f32, seed: u64) -> Frame<ApparentKelvin> {
        let mut numbers = Numbers(seed);
        let mut picture = Array2::zeros(shape);
        for (tile_row, mut band) in picture.axis_chunks_iter_mut(Axis(0), TILE).enumerate() {
            for (tile_column, mut tile) in band.axis_chunks_iter_mut(Axis(1), TILE).enumerate() {
                let (top, left) = (tile_row * TILE, tile_column * TILE);
                let place = |row: usize, column: usize| {
                    map.apply(Point::new((left + column) as f64, (top + row) as f64))
                };
                let middle = place(TILE / 2, TILE / 2);
                let reach = 4.0
                    + [(0, 0), (0, TILE), (TILE, 0), (TILE, TILE)]
                        .map(|(row, column)| place(row, column).distance(middle))
                        .into_iter()
                        .fold(0.0, f64::max);
                let near: Vec<&Part> = self.parts.iter().filter(|part| part.is_near(middle, reach)).collect();
                for ((row, column), value) in tile.indexed_iter_mut() {
                    let place = place(row, column);
                    *value =
                        (self.at(place.x, place.y, &near) + f64::from(noise) * numbers.gaussian()) as f32;
                }
            }
        }
        Frame::new(picture).unwrap()
    }
}

/// A view turned (degrees), scaled, shifted and tilted (depth per pixel) about the picture's middle.
pub fn centered(
    (rows, columns): (usize, usize),
    turn: f64,
    scale: f64,
    shift: [f64; 2],
    tilt: [f64; 2],
) -> UnitMap {
    let (sin, cos) = turn.to_radians().sin_cos();
    let (x, y) = (0.5 * (columns as f64 - 1.0), 0.5 * (rows as f64 - 1.0));
    let to_middle = UnitMap::try_from([1.0, 0.0, -x, 0.0, 1.0, -y, 0.0, 0.0, 1.0]).unwrap();
    let view = Homography::<BaselinePixels, BaselinePixels>::try_from([
        scale * cos,
        -scale * sin,
        shift[0],
        scale * sin,
        scale * cos,
        shift[1],
        tilt[0],
        tilt[1],
        1.0,
    ])
    .unwrap();
    let back =
        Homography::<BaselinePixels, BaselinePixels>::try_from([1.0, 0.0, x, 0.0, 1.0, y, 0.0, 0.0, 1.0])
            .unwrap();
    to_middle.then(&view).then(&back)
}

/// Mean distance over the board between where a place of the unit belongs and where `found` puts it,
/// baseline pixels; places outside the unit's picture of 640 × 480 do not count.
pub fn mean_error(board: &Board, truth: &UnitMap, found: &UnitMap) -> f64 {
    mean_error_of(board.outline, (480, 640), truth, found)
}

/// The same over any part of the baseline.
pub fn mean_error_of(
    area: [f64; 4],
    (rows, columns): (usize, usize),
    truth: &UnitMap,
    found: &UnitMap,
) -> f64 {
    let back = truth.inverse();
    let (mut sum, mut count) = (0.0, 0.0);
    for i in 0..=20 {
        for j in 0..=20 {
            let x = area[0] + (area[2] - area[0]) * f64::from(i) / 20.0;
            let y = area[1] + (area[3] - area[1]) * f64::from(j) / 20.0;
            let seen = back.apply(Point::new(x, y));
            if seen.x >= 0.0 && seen.y >= 0.0 && seen.x < columns as f64 && seen.y < rows as f64 {
                sum += found.apply(seen).distance(Point::new(x, y));
                count += 1.0;
            }
        }
    }
    sum / count
}

/// erf to 1.5e-7: M. Abramowitz, I. Stegun, *Handbook of Mathematical Functions*, 7.1.26.
fn error_function(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let polynomial = t
        * (0.254_829_592
            + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    (1.0 - polynomial * (-x * x).exp()).copysign(x)
}
