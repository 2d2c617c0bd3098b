//! Sums over any rectangle of a picture in four look-ups, invalid pixels left out.
//!
//! F. C. Crow, *Summed-area tables for texture mapping*, SIGGRAPH 1984 (named from memory).

/// Running sums of a picture from its top left corner.
#[derive(Debug, Clone)]
pub(super) struct SummedArea {
    rows: usize,
    columns: usize,
    /// `(rows + 1) × (columns + 1)`; `f64`, since a difference of large sums must keep millikelvins.
    sums: Vec<f64>,
    counts: Vec<u32>,
}

impl SummedArea {
    /// Sums `value` of each pixel, row by row; NaN counts as no pixel.
    pub(super) fn new(shape: (usize, usize), values: impl Iterator<Item = f32>) -> Self {
        let (rows, columns) = shape;
        let width = columns + 1;
        let mut sums = vec![0.0; (rows + 1) * width];
        let mut counts = vec![0; (rows + 1) * width];
        let (mut along, mut valid) = (0.0, 0);
        for (index, value) in values.take(rows * columns).enumerate() {
            let (row, column) = (index / columns, index % columns);
            if column == 0 {
                (along, valid) = (0.0, 0);
            }
            if !value.is_nan() {
                along += f64::from(value);
                valid += 1;
            }
            let at = (row + 1) * width + column + 1;
            sums[at] = sums[at - width] + along;
            counts[at] = counts[at - width] + valid;
        }
        Self { rows, columns, sums, counts }
    }

    /// The mean of the valid pixels within `radius` of a pixel, and the share of the window that is
    /// valid pixels of the picture; NaN and 0 where there is none.
    pub(super) fn mean_around(&self, row: usize, column: usize, radius: usize) -> (f64, f64) {
        let (top, left) =
            (row.saturating_sub(radius).min(self.rows), column.saturating_sub(radius).min(self.columns));
        let (bottom, right) = ((row + radius + 1).min(self.rows), (column + radius + 1).min(self.columns));
        let width = self.columns + 1;
        let over = [bottom * width + right, top * width + left, top * width + right, bottom * width + left];
        let count = self.counts[over[0]] + self.counts[over[1]] - self.counts[over[2]] - self.counts[over[3]];
        if count == 0 {
            return (f64::NAN, 0.0);
        }
        let sum = self.sums[over[0]] + self.sums[over[1]] - self.sums[over[2]] - self.sums[over[3]];
        let side = (2 * radius + 1) as f64;
        (sum / f64::from(count), f64::from(count) / (side * side))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_window_is_averaged_without_its_invalid_pixels_and_cut_at_the_border() {
        let values = (0..20).map(|v| if v == 7 { f32::NAN } else { v as f32 });
        let table = SummedArea::new((4, 5), values);
        // Rows 0 to 2, columns 1 to 3: 1 2 3 6 (7) 8 11 12 13.
        let (mean, share) = table.mean_around(1, 2, 1);
        assert!((mean - 7.0).abs() < 1e-12 && (share - 8.0 / 9.0).abs() < 1e-12);
        // The corner: 0 1 5 6.
        let (mean, share) = table.mean_around(0, 0, 1);
        assert!((mean - 3.0).abs() < 1e-12 && (share - 4.0 / 9.0).abs() < 1e-12);
        assert!(table.mean_around(1, 2, 0).0.is_nan());
    }
}
