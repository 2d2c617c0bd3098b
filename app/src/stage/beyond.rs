//! Pixels beyond a watched temperature, striped in a colour that no palette has.

use analysis::frame::{Frame, SurfaceKelvin};

/// A watched temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beyond {
    /// The temperature, K.
    pub kelvin: f64,
    /// Whether what is warmer is meant, or what is colder.
    pub above: bool,
}

/// What pixels beyond it are dyed with; between the stripes their own colour stays, so that temperatures can still be told.
pub const DYE: [u8; 3] = [157, 184, 255];
/// A stripe and the gap beside it are so many pixels wide each, along a row.
const STRIPE: usize = 2;

impl Beyond {
    fn holds(self, kelvin: f32) -> bool {
        let kelvin = f64::from(kelvin);
        if self.above { kelvin > self.kelvin } else { kelvin < self.kelvin }
    }

    /// How many valid pixels are beyond.
    #[must_use]
    pub fn count(self, picture: &Frame<SurfaceKelvin>) -> usize {
        picture.as_slice().iter().filter(|kelvin| self.holds(**kelvin)).count()
    }

    /// Stripes the pixels beyond in `rgba`, four bytes a pixel, upwards to the right.
    pub fn dye(self, rgba: &mut [u8], picture: &Frame<SurfaceKelvin>) {
        let (_, columns) = picture.shape();
        for (place, (color, &kelvin)) in rgba.chunks_exact_mut(4).zip(picture.as_slice()).enumerate() {
            let (row, column) = (place / columns.max(1), place % columns.max(1));
            if self.holds(kelvin) && (row + column) % (2 * STRIPE) < STRIPE {
                color[..3].copy_from_slice(&DYE);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::palette::{Palette, paint};

    #[test]
    fn only_what_is_beyond_is_dyed_and_invalid_pixels_never() {
        // Every other pair of pixels along a row lies between the stripes.
        let picture = Frame::from_rows(1, 6, vec![299.0, 301.0, 301.0, 301.0, f32::NAN, 300.0]).unwrap();
        let dyed = |beyond: Beyond| {
            let mut rgba = [0; 24];
            beyond.dye(&mut rgba, &picture);
            rgba.chunks(4).map(|color| color[0] > 0).collect::<Vec<_>>()
        };
        let (above, below) = (Beyond { kelvin: 300.0, above: true }, Beyond { kelvin: 300.0, above: false });
        assert_eq!(dyed(above), [false, true, false, false, false, false]);
        assert_eq!(dyed(below), [true, false, false, false, false, false]);
        assert_eq!((above.count(&picture), below.count(&picture)), (3, 1));
    }

    #[test]
    fn no_palette_of_temperatures_has_a_color_near_the_dyed_ones() {
        for palette in Palette::RISING {
            let ramp =
                Frame::<SurfaceKelvin>::from_rows(1, 256, (0..256_u16).map(f32::from).collect()).unwrap();
            let plain = paint(&ramp, 0.0, 255.0, palette);
            let distance = |other: &[u8]| -> i32 {
                DYE.iter().zip(other).map(|(a, b)| (i32::from(*a) - i32::from(*b)).pow(2)).sum()
            };
            let nearest = plain.chunks(4).map(distance).min().unwrap();
            // A fifth of the way across one channel of sRGB: told apart at a glance.
            assert!(nearest > 51 * 51, "{palette:?}: {nearest}");
        }
    }
}
