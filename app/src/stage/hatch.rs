//! Hatching over pixels whose value is not measurable: too uncertain to be read.

use analysis::frame::{Difference, Frame};
use analysis::uncertainty::is_measurable;
use analysis::units::KelvinDifference;

/// Pixels from one stroke of the hatching to the next.
const PITCH: usize = 5;
/// The strokes' colour, between any picture's light and dark.
const STROKE: [u8; 3] = [128, 128, 128];

/// Draws strokes over `rgba`, four bytes a pixel, where `uncertainty` exceeds what counts as measurable.
pub fn hatch(rgba: &mut [u8], uncertainty: &Frame<Difference>, within: KelvinDifference) {
    let (_, columns) = uncertainty.shape();
    for (pixel, (color, &uncertainty)) in rgba.chunks_exact_mut(4).zip(uncertainty.as_slice()).enumerate() {
        let stroke = (pixel / columns + pixel % columns) % PITCH < 2;
        if stroke && !uncertainty.is_nan() && !is_measurable(uncertainty, within) {
            color[..3].copy_from_slice(&STROKE);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_is_not_measurable_is_hatched() {
        let uncertainty = Frame::from_rows(1, 10, [[0.1_f32; 5], [9.0; 5]].concat()).unwrap();
        let mut rgba = vec![255; 40];
        hatch(&mut rgba, &uncertainty, KelvinDifference::new(2.0).unwrap());
        let struck: Vec<_> = rgba.chunks(4).map(|color| color[0] == 128).collect();
        assert!(struck[..5].iter().all(|struck| !struck));
        assert_eq!(struck[5..].iter().filter(|struck| **struck).count(), 2);
    }
}
