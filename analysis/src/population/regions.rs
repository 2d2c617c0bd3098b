//! Significant pixels gathered into places that hang together.

use std::collections::BTreeSet;

use crate::geometry::{BaselinePixels, Point};

/// Which pixels belong to something significant, and how far out it lies.
pub(super) struct Mask {
    columns: usize,
    rows: usize,
    sign: Vec<i8>,
    smallest: Vec<f64>,
}

/// Pixels that hang together.
pub(super) struct Region {
    columns: usize,
    pub(super) positive: bool,
    /// In order.
    pub(super) pixels: Vec<usize>,
    pub(super) smallest: f64,
}

impl Region {
    pub(super) fn holds(&self, pixel: usize) -> bool {
        self.pixels.binary_search(&pixel).is_ok()
    }

    /// The middle of the pixels that `belong` and hang together with `start`, which does.
    pub(super) fn middle_around(
        &self,
        start: usize,
        belong: impl Fn(usize) -> bool,
    ) -> Point<BaselinePixels> {
        let mut seen = BTreeSet::from([start]);
        let mut waiting = vec![start];
        let (mut across, mut down) = (0.0, 0.0);
        while let Some(pixel) = waiting.pop() {
            across += (pixel % self.columns) as f64;
            down += (pixel / self.columns) as f64;
            let beside = [pixel.wrapping_sub(1), pixel + 1];
            let beside = beside.into_iter().filter(|next| next / self.columns == pixel / self.columns);
            let above = [pixel.wrapping_sub(self.columns), pixel + self.columns];
            for next in beside.chain(above) {
                if self.holds(next) && belong(next) && seen.insert(next) {
                    waiting.push(next);
                }
            }
        }
        let count = seen.len() as f64;
        Point::new(across / count, down / count)
    }
}

impl Mask {
    pub(super) fn new((rows, columns): (usize, usize)) -> Self {
        Self { columns, rows, sign: vec![0; rows * columns], smallest: vec![1.0; rows * columns] }
    }

    fn set(&mut self, pixel: usize, t: f32, probability: f64) {
        if probability <= self.smallest[pixel] {
            self.smallest[pixel] = probability;
            self.sign[pixel] = if t > 0.0 { 1 } else { -1 };
        }
    }

    pub(super) fn square(&mut self, (row, column): (usize, usize), radius: usize, t: f32, probability: f64) {
        for row in row.saturating_sub(radius)..(row + radius + 1).min(self.rows) {
            for column in column.saturating_sub(radius)..(column + radius + 1).min(self.columns) {
                self.set(row * self.columns + column, t, probability);
            }
        }
    }

    pub(super) fn body(&mut self, pixels: &[usize], t: f32, probability: f64) {
        for &pixel in pixels {
            self.set(pixel, t, probability);
        }
    }

    /// Regions of one sign that touch by sides or corners.
    pub(super) fn regions(mut self) -> Vec<Region> {
        let mut regions = Vec::new();
        for start in 0..self.sign.len() {
            let sign = self.sign[start];
            if sign == 0 {
                continue;
            }
            let mut pixels = Vec::new();
            let mut waiting = vec![start];
            self.sign[start] = 0;
            let mut smallest = 1.0_f64;
            while let Some(pixel) = waiting.pop() {
                pixels.push(pixel);
                smallest = smallest.min(self.smallest[pixel]);
                let (row, column) = (pixel / self.columns, pixel % self.columns);
                for row in row.saturating_sub(1)..(row + 2).min(self.rows) {
                    for column in column.saturating_sub(1)..(column + 2).min(self.columns) {
                        let next = row * self.columns + column;
                        if self.sign[next] == sign {
                            self.sign[next] = 0;
                            waiting.push(next);
                        }
                    }
                }
            }
            pixels.sort_unstable();
            regions.push(Region { columns: self.columns, positive: sign > 0, pixels, smallest });
        }
        regions
    }
}
