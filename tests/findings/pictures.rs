//! Pictures made for the purpose, with a noise that is the same every time.

use analysis::board::{Footprint, Placement, Side, footprints};
use analysis::frame::Frame;
use analysis::geometry::{BaselinePixels, BoardMillimeters, Homography, Point};
use ndarray::Array2;

/// A picture whose value at (x, y) is `value(x, y)`.
pub fn picture<Q>(rows: usize, columns: usize, value: impl Fn(f64, f64) -> f64) -> Frame<Q> {
    Frame::new(Array2::from_shape_fn((rows, columns), |(row, column)| {
        value(column as f64, row as f64) as f32
    }))
    .expect("a picture with pixels")
}

/// The same value everywhere.
pub fn flat<Q>(rows: usize, columns: usize, value: f64) -> Frame<Q> {
    picture(rows, columns, |_, _| value)
}

/// `frame` plus normal white noise of standard deviation `sigma`.
pub fn with_noise<Q>(frame: &Frame<Q>, sigma: f64, seed: u64) -> Frame<Q> {
    let mut normal = Normal { state: seed };
    let values = frame.view().mapv(|value| value + (sigma * normal.draw()) as f32);
    Frame::new(values).expect("a picture with pixels")
}

/// Normal deviates: SplitMix64 through the Box-Muller transform.
struct Normal {
    state: u64,
}

impl Normal {
    fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn draw(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Four pixels per millimetre, board y upward, board (0, 0) at the lower left of a picture of 480 rows.
pub fn board_to_picture() -> Homography<BoardMillimeters, BaselinePixels> {
    Homography::try_from([4.0, 0.0, 0.0, 0.0, -4.0, 479.0, 0.0, 0.0, 1.0]).expect("an invertible map")
}

/// Where a place of that picture lies on the board.
pub fn on_board(x: f64, y: f64) -> Point<BoardMillimeters> {
    board_to_picture().inverse().apply(Point::new(x, y))
}

/// A part whose body covers `size` millimetres around the pixel (x, y).
pub fn part(designator: &str, x: f64, y: f64, size: [f64; 2]) -> Placement {
    Placement {
        designator: designator.into(),
        center: on_board(x, y),
        rotation: 0.0,
        side: Side::Top,
        package: String::new(),
        size,
        value: String::new(),
    }
}

/// The footprints of these parts in that picture.
pub fn bodies(placements: &[Placement]) -> Vec<Footprint> {
    footprints(placements, Side::Top, &board_to_picture())
}
