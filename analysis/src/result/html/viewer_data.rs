//! The pictures as numbers, for the script that reads them out.
//!
//! Each picture is written as 16-bit codes: 0 where invalid, else value = lowest + (code − 1) · step.

use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::figure::{Picture, Shows};
use crate::frame::Frame;
use crate::palette::Palette;
use crate::result::ResultError;
use crate::result::embedded::block;
use crate::units::TemperatureUnit;

/// Codes besides the one for invalid pixels, less one: the number of steps.
const STEPS: f32 = 65_534.0;
/// No finer than this, K: below it there is only noise, which does not compress.
const FINEST_STEP: f32 = 0.001;

/// One picture as the script needs to know it.
#[derive(Serialize)]
pub(super) struct CodedMap {
    /// Its block.
    pub(super) id: String,
    /// What a person reads above the picture.
    name: &'static str,
    /// What a person reads beside a number.
    #[serde(skip)]
    pub(super) short_name: &'static str,
    /// Value of code 1, K.
    lo: f32,
    /// Value between codes, K.
    pub(super) step: f32,
    /// Ends of the colours, K.
    from: f32,
    to: f32,
    /// From kelvin to the session's unit.
    scale: f64,
    offset: f64,
    symbol: &'static str,
    /// Decimals of the scale's ends.
    decimals: u8,
    /// Whether values lie on both sides of zero.
    signed: bool,
}

/// How finely the pictures are written.
pub(super) struct Quantisation {
    /// The pictures, the one that is shown first in front.
    pub(super) maps: Vec<CodedMap>,
}

impl Quantisation {
    /// The coarsest step, K.
    pub(super) fn step(&self) -> f32 {
        self.maps.iter().map(|map| map.step).fold(0.0, f32::max)
    }
}

/// The blocks for the end of the file.
pub(super) struct ViewerData {
    pub(super) quantisation: Quantisation,
    pub(super) blocks: Vec<Markup>,
}

#[derive(Serialize)]
struct NamedPalette {
    name: &'static str,
    /// Six hexadecimal digits a colour.
    colors: String,
    diverging: bool,
}

#[derive(Serialize)]
struct Description<'a> {
    rows: usize,
    columns: usize,
    maps: &'a [CodedMap],
    palettes: Vec<NamedPalette>,
}

fn named(palette: Palette, diverging: bool) -> NamedPalette {
    let colors = palette.colors().iter().map(|[r, g, b]| format!("{r:02x}{g:02x}{b:02x}")).collect();
    NamedPalette { name: palette.name(), colors, diverging }
}

/// Lowest value, step and little-endian codes of a picture.
fn code<Q>(frame: &Frame<Q>) -> (f32, f32, Vec<u8>) {
    let (lo, hi) = frame.range().unwrap_or_default();
    let step = ((hi - lo) / STEPS).max(FINEST_STEP);
    let codes = frame.as_slice().iter().flat_map(|&value| {
        let code = if value.is_nan() { 0 } else { ((value - lo) / step).round().min(STEPS) as u16 + 1 };
        code.to_le_bytes()
    });
    (lo, step, codes.collect())
}

/// One picture as numbers.
pub(super) struct Coded {
    map: CodedMap,
    shape: (usize, usize),
    codes: Vec<u8>,
}

impl Coded {
    pub(super) fn of<Q>(picture: &Picture<'_, Q>, unit: TemperatureUnit) -> Self {
        let (lo, step, codes) = code(picture.frame);
        let (offset, symbol) = match picture.shows {
            Shows::Temperature => (unit.show(0.0), unit.symbol()),
            Shows::Difference => (0.0, unit.difference_symbol()),
        };
        let map = CodedMap {
            id: format!("map-{}", picture.id),
            name: picture.name,
            short_name: picture.short_name,
            lo,
            step,
            from: picture.range[0],
            to: picture.range[1],
            scale: unit.show_difference(1.0),
            offset,
            symbol,
            decimals: 0,
            signed: picture.shows == Shows::Difference,
        };
        Self { map, shape: picture.frame.shape(), codes }
    }
}

impl ViewerData {
    /// The pictures of one sheet, all of one size, the one that is shown first in front; their description and the
    /// palettes.
    pub(super) fn of(coded: Vec<Coded>) -> Result<Self, ResultError> {
        let (rows, columns) = coded.first().map(|first| first.shape).unwrap_or_default();
        let pictures: Vec<Markup> =
            coded.iter().map(|coded| block(&coded.map.id, &coded.codes)).collect::<Result<_, _>>()?;
        let maps: Vec<CodedMap> = coded.into_iter().map(|coded| coded.map).collect();
        let palettes = Palette::DIVERGING
            .map(|palette| named(palette, true))
            .into_iter()
            .chain(Palette::RISING.map(|palette| named(palette, false)))
            .collect();
        // A `<` inside a script element could end it; JSON has another spelling.
        let description = serde_json::to_string(&Description { rows, columns, maps: &maps, palettes })?
            .replace('<', "\\u003c");
        let mut blocks =
            vec![html! { script type="application/json" id="viewer-data" { (PreEscaped(description)) } }];
        blocks.extend(pictures);
        Ok(Self { quantisation: Quantisation { maps }, blocks })
    }
}

/// What the script fills and shows; without it there is nothing to control.
pub(super) fn controls(quantisation: &Quantisation) -> Markup {
    html! {
        div #controls hidden {
            dl.readings aria-live="polite" {
                div { dt { "Pixel" } dd #place {} }
                @for map in &quantisation.maps { div { dt { (map.short_name) } dd #{ "read-" (map.id) } {} } }
            }
            div.choices {
                label hidden[quantisation.maps.len() < 2] { "Picture " select #map-choice {} }
                label { "Colours " select #palette-choice {} }
                span.zoom role="group" aria-label="Zoom" {
                    button #farther type="button" aria-label="Smaller" { "\u{2212}" }
                    button #whole type="button" { "Whole" }
                    button #closer type="button" aria-label="Larger" { "+" }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::SurfaceKelvin;

    #[test]
    fn a_coded_value_is_within_half_a_step_and_invalid_stays_invalid() {
        let values = [f32::NAN, 293.15, 300.123, 301.0, 400.0];
        let frame = Frame::<SurfaceKelvin>::from_rows(1, 5, values.to_vec()).unwrap();
        let (lo, step, bytes) = code(&frame);
        assert!(step < 0.005, "{step}");
        for (value, bytes) in values.iter().zip(bytes.chunks_exact(2)) {
            let code = u16::from_le_bytes([bytes[0], bytes[1]]);
            if value.is_nan() {
                assert_eq!(code, 0);
            } else {
                // Half a step, and the rounding of an f32 near 400 K (2^-15 K).
                let back = lo + f32::from(code - 1) * step;
                assert!((back - value).abs() <= step / 2.0 + 4e-5, "{value} came back as {back}");
            }
        }
    }

    #[test]
    fn a_picture_without_valid_pixels_is_all_invalid() {
        let frame = Frame::<SurfaceKelvin>::from_rows(1, 2, vec![f32::NAN; 2]).unwrap();
        assert_eq!(code(&frame).2, vec![0; 4]);
    }
}
