//! Pixels beyond a watched temperature, in a colour that no palette has.

use analysis::frame::{Frame, SurfaceKelvin};

/// A watched temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Beyond {
    /// The temperature, K.
    pub kelvin: f64,
    /// Whether what is warmer is meant, or what is colder.
    pub above: bool,
}

/// What pixels beyond it are dyed with; some of their own colour stays, so that parts can still be told.
pub const DYE: [u8; 3] = [255, 70, 215];
/// The dye's share, of 4.
const SHARE: u16 = 3;

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

    /// Dyes the pixels beyond in `rgba`, four bytes a pixel.
    pub fn dye(self, rgba: &mut [u8], picture: &Frame<SurfaceKelvin>) {
        for (color, &kelvin) in rgba.chunks_exact_mut(4).zip(picture.as_slice()) {
            if self.holds(kelvin) {
                for (channel, dye) in color.iter_mut().zip(DYE) {
                    *channel = ((u16::from(*channel) * (4 - SHARE) + u16::from(dye) * SHARE) / 4) as u8;
                }
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
        let picture = Frame::from_rows(1, 4, vec![299.0, 301.0, f32::NAN, 300.0]).unwrap();
        let dyed = |beyond: Beyond| {
            let mut rgba = [0; 16];
            beyond.dye(&mut rgba, &picture);
            assert_eq!(rgba.chunks(4).filter(|color| color[0] > 0).count(), beyond.count(&picture));
            rgba.chunks(4).map(|color| color[0] > 0).collect::<Vec<_>>()
        };
        assert_eq!(dyed(Beyond { kelvin: 300.0, above: true }), [false, true, false, false]);
        assert_eq!(dyed(Beyond { kelvin: 300.0, above: false }), [true, false, false, false]);
    }

    #[test]
    fn no_palette_of_temperatures_has_a_color_near_the_dyed_ones() {
        for palette in Palette::RISING {
            let ramp = Frame::from_rows(1, 256, (0..256_u16).map(f32::from).collect()).unwrap();
            let plain = paint(&ramp, 0.0, 255.0, palette);
            let mut dyed = plain.clone();
            Beyond { kelvin: -1.0, above: true }.dye(&mut dyed, &ramp);
            for color in dyed.chunks(4) {
                let distance = |other: &[u8]| -> i32 {
                    color.iter().zip(other).map(|(a, b)| (i32::from(*a) - i32::from(*b)).pow(2)).sum()
                };
                let nearest = plain.chunks(4).map(distance).min().unwrap();
                // A fifth of the way across one channel of sRGB: told apart at a glance.
                assert!(nearest > 51 * 51, "{palette:?}: {color:?}");
            }
        }
    }
}
