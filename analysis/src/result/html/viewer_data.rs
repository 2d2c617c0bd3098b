//! The pictures as numbers, for the script that reads them out.
//!
//! Each picture is written as 16-bit codes: 0 where invalid, else value = lowest + (code − 1) · step.

use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::pictures::{BASELINE, DIFFERENCE, ShownRanges, UNIT};
use crate::comparison::Comparison;
use crate::frame::Frame;
use crate::palette::Palette;
use crate::result::ResultError;
use crate::result::embedded::block;
use crate::session::Session;

/// Codes besides the one for invalid pixels, less one: the number of steps.
const STEPS: f32 = 65_534.0;
/// No finer than this, K: below it there is only noise, which does not compress.
const FINEST_STEP: f32 = 0.001;

/// One picture as the script needs to know it.
#[derive(Serialize)]
pub(super) struct CodedMap {
    /// Its block.
    pub(super) id: &'static str,
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
    /// The pictures, the difference first.
    pub(super) maps: [CodedMap; 3],
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

/// The pictures, their description and the palettes as blocks of the file.
pub(super) fn blocks(
    session: &Session,
    comparison: &Comparison,
    shown: &ShownRanges,
) -> Result<ViewerData, ResultError> {
    let unit = session.temperature_unit;
    let per_kelvin = unit.show_difference(1.0);
    let surface = |id, name, short_name, (lo, step): (f32, f32)| CodedMap {
        id,
        name,
        short_name,
        lo,
        step,
        from: shown.surface[0],
        to: shown.surface[1],
        scale: per_kelvin,
        offset: unit.show(0.0),
        symbol: unit.symbol(),
        decimals: 0,
        signed: false,
    };
    let (baseline_lo, baseline_step, baseline) = code(&comparison.baseline);
    let (unit_lo, unit_step, under_test) = code(&comparison.unit);
    let (lo, step, difference) = code(&comparison.difference);
    let maps = [
        CodedMap {
            id: "map-difference",
            name: DIFFERENCE,
            short_name: "Difference",
            lo,
            step,
            from: shown.difference[0],
            to: shown.difference[1],
            scale: per_kelvin,
            offset: 0.0,
            symbol: unit.difference_symbol(),
            decimals: 0,
            signed: true,
        },
        surface("map-baseline", BASELINE, "Baseline", (baseline_lo, baseline_step)),
        surface("map-unit", UNIT, "Unit", (unit_lo, unit_step)),
    ];
    let (rows, columns) = comparison.baseline.shape();
    let palettes = Palette::DIVERGING
        .map(|palette| named(palette, true))
        .into_iter()
        .chain(Palette::RISING.map(|palette| named(palette, false)))
        .collect();
    // A `<` inside a script element could end it; JSON has another spelling.
    let description =
        serde_json::to_string(&Description { rows, columns, maps: &maps, palettes })?.replace('<', "\\u003c");
    let blocks = vec![
        html! { script type="application/json" id="viewer-data" { (PreEscaped(description)) } },
        block("map-difference", &difference)?,
        block("map-baseline", &baseline)?,
        block("map-unit", &under_test)?,
    ];
    Ok(ViewerData { quantisation: Quantisation { maps }, blocks })
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
