//! Colours for values, the same in the page and in the result file.
//!
//! The colours themselves come from the `colorous` crate: published colour maps that are even to
//! the eye and, but for the grey ones, readable with any common colour-vision deficiency.

use crate::frame::Frame;

/// A named run of colours from low to high.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Palette {
    /// Black to white.
    Grey,
    /// White to black.
    GreyInverted,
    /// Dark violet over green to yellow: equal steps look equal.
    #[default]
    EvenSteps,
    /// Dark blue over grey to yellow: the same to people with and without colour-vision deficiency.
    AllEyes,
    /// Black over red to pale yellow.
    Ember,
    /// Blue below zero, pale at zero, red above: for differences.
    ColdWarm,
    /// Violet below zero, pale at zero, orange above: for differences, for all eyes.
    VioletOrange,
}

/// Levels in a palette.
pub const LEVELS: usize = 256;

impl Palette {
    /// Those that run from low to high.
    pub const RISING: [Self; 5] =
        [Self::EvenSteps, Self::AllEyes, Self::Ember, Self::Grey, Self::GreyInverted];
    /// Those with a middle at zero.
    pub const DIVERGING: [Self; 2] = [Self::ColdWarm, Self::VioletOrange];

    /// What a person reads.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Grey => "Grey, warm is light",
            Self::GreyInverted => "Grey, warm is dark",
            Self::EvenSteps => "Even steps",
            Self::AllEyes => "For all eyes",
            Self::Ember => "Ember",
            Self::ColdWarm => "Blue to red",
            Self::VioletOrange => "Violet to orange",
        }
    }

    /// The colours, low to high, as red, green, blue.
    #[must_use]
    pub fn colors(self) -> [[u8; 3]; LEVELS] {
        std::array::from_fn(|level| {
            let t = level as f64 / (LEVELS - 1) as f64;
            let color = match self {
                Self::Grey => colorous::GREYS.eval_continuous(1.0 - t),
                Self::GreyInverted => colorous::GREYS.eval_continuous(t),
                Self::EvenSteps => colorous::VIRIDIS.eval_continuous(t),
                Self::AllEyes => colorous::CIVIDIS.eval_continuous(t),
                Self::Ember => colorous::INFERNO.eval_continuous(t),
                Self::ColdWarm => colorous::RED_BLUE.eval_continuous(1.0 - t),
                Self::VioletOrange => colorous::PURPLE_ORANGE.eval_continuous(t),
            };
            [color.r, color.g, color.b]
        })
    }
}

/// The picture as RGBA bytes, row by row; values outside `lo..=hi` take the end colours and invalid
/// pixels are transparent.
///
/// # Shape
/// 4 · rows · columns bytes.
#[must_use]
pub fn paint<Q>(frame: &Frame<Q>, lo: f32, hi: f32, palette: Palette) -> Vec<u8> {
    let opaque = palette.colors().map(|[r, g, b]| [r, g, b, 255]);
    let top = (LEVELS - 1) as f32;
    let levels_per_unit = if hi > lo { top / (hi - lo) } else { 0.0 };
    frame
        .as_slice()
        .iter()
        .flat_map(|&value| {
            if value.is_nan() {
                return [0; 4];
            }
            let level = ((value - lo) * levels_per_unit).clamp(0.0, top);
            opaque[level as usize]
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    /// Relative luminance of an sRGB colour, IEC 61966-2-1.
    fn luminance([r, g, b]: [u8; 3]) -> f64 {
        let linear = |c: u8| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        0.2126 * linear(r) + 0.7152 * linear(g) + 0.0722 * linear(b)
    }

    #[test]
    fn a_rising_palette_only_gets_lighter_or_only_darker() {
        for palette in Palette::RISING {
            let colors = palette.colors();
            let falls = luminance(colors[0]) > luminance(colors[255]);
            for pair in colors.windows(16) {
                let (a, b) = (luminance(pair[0]), luminance(pair[15]));
                assert_eq!(a > b, falls, "{palette:?} turns back");
            }
        }
    }

    #[test]
    fn a_diverging_palette_is_lightest_at_zero() {
        for palette in Palette::DIVERGING {
            let colors = palette.colors();
            let middle = luminance(colors[128]);
            assert!(middle > luminance(colors[10]) && middle > luminance(colors[245]), "{palette:?}");
        }
    }

    #[test]
    fn warm_sides_are_red_and_orange() {
        for palette in Palette::DIVERGING {
            let colors = palette.colors();
            let redness = |[r, _, b]: [u8; 3]| i32::from(r) - i32::from(b);
            assert!(redness(colors[230]) > 0 && redness(colors[25]) < 0, "{palette:?}");
        }
    }

    #[test]
    fn invalid_pixels_are_transparent_and_outliers_take_the_end_colours() {
        let frame = Frame::<SurfaceKelvin>::from_rows(1, 3, vec![f32::NAN, -1e9, 1e9]).unwrap();
        let rgba = paint(&frame, 300.0, 310.0, Palette::Grey);
        assert_eq!(rgba[3], 0);
        assert_eq!(&rgba[4..8], &[0, 0, 0, 255]);
        assert_eq!(&rgba[8..12], &[255, 255, 255, 255]);
    }
}
