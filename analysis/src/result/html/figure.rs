//! One picture of a sheet: its pixels as PNG, what is drawn over them, and its colour scale.

use std::io::Cursor;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use image::{ExtendedColorType, ImageFormat};
use maud::{Markup, html};

use super::labels::{Ring, label_places, name_places};
use crate::board::Footprint;
use crate::frame::{EmissivityFraction, Frame, SurfaceKelvin};
use crate::geometry::{BaselinePixels, Point};
use crate::inspection::{Finding, Sign};
use crate::palette::{LEVELS, Palette, paint};
use crate::result::ResultError;
use crate::result::numbers::{InUnit, number, typeset};
use crate::surface::range_of_emitting;
use crate::units::TemperatureUnit;

/// What a picture's numbers are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shows {
    Temperature,
    Difference,
}

/// One picture.
pub(super) struct Picture<'a, Q> {
    /// Names figure and block: letters and hyphens.
    pub(super) id: &'static str,
    /// What a person reads above it.
    pub(super) name: &'static str,
    /// What a person reads beside a number of it.
    pub(super) short_name: &'static str,
    pub(super) frame: &'a Frame<Q>,
    /// Where the colours begin and end, K.
    pub(super) range: [f32; 2],
    pub(super) shows: Shows,
}

/// What is drawn over a picture.
#[derive(Clone, Copy, Default)]
pub(super) struct Overlay<'a> {
    /// The parts' bodies.
    pub(super) parts: &'a [Footprint],
    /// Whether each body bears its part's name.
    pub(super) names: bool,
    /// The places that are ringed.
    pub(super) marks: &'a [Mark],
}

/// A place that is ringed, with what is written beside it.
pub(super) struct Mark {
    pub(super) at: Point<BaselinePixels>,
    pub(super) area_px: f64,
    pub(super) hotter: bool,
    /// Its place in the table, from 1.
    pub(super) number: usize,
    /// Written after the number where there is room.
    pub(super) name: String,
}

impl Mark {
    /// The findings in their order.
    pub(super) fn of_findings(findings: &[Finding]) -> Vec<Self> {
        let name = |finding: &Finding| match &finding.designator {
            Some(designator) if finding.is_beside() => format!("beside {designator}"),
            Some(designator) => designator.clone(),
            None => String::new(),
        };
        let mark = |(index, finding): (usize, &Finding)| Self {
            at: finding.peak_at,
            area_px: f64::from(finding.area_px),
            hotter: finding.sign == Sign::Hotter,
            number: index + 1,
            name: name(finding),
        };
        findings.iter().enumerate().map(mark).collect()
    }
}

/// Where the colours of surface temperatures begin and end, K: ends that leave out bare metal (its magnified errors
/// would take all the colours), rounded outwards to whole degrees of the session's unit.
pub(super) fn surface_range(
    frames: &[&Frame<SurfaceKelvin>],
    emissivity: &Frame<EmissivityFraction>,
    unit: TemperatureUnit,
) -> [f32; 2] {
    let ranges = frames.iter().filter_map(|frame| range_of_emitting(frame, emissivity).ok().flatten());
    let (lo, hi) = ranges.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1))).unwrap_or((293.0, 294.0));
    let shown_lo = unit.show(f64::from(lo)).floor();
    let shown_hi = unit.show(f64::from(hi)).ceil().max(shown_lo + 1.0);
    [unit.read(shown_lo) as f32, unit.read(shown_hi) as f32]
}

/// The picture as a figure; the `large` one is the script's stage and has room for names.
pub(super) fn figure<Q>(
    picture: &Picture<'_, Q>,
    overlay: Overlay<'_>,
    unit: InUnit,
    large: bool,
) -> Result<Markup, ResultError> {
    let (rows, columns) = picture.frame.shape();
    let [lo, hi] = picture.range;
    let palette = match picture.shows {
        Shows::Temperature => Palette::EvenSteps,
        Shows::Difference => Palette::ColdWarm,
    };
    let pixels = png(rows, columns, &paint(picture.frame, lo, hi, palette))?;
    let bar: Vec<u8> = palette.colors().iter().flat_map(|&[r, g, b]| [r, g, b, 255]).collect();
    let bar = png(1, LEVELS, &bar)?;
    let frame = html! {
        img src=(pixels) width=(columns) height=(rows) alt=(picture.name);
        (drawn_over(rows, columns, overlay, large))
    };
    let scale = html! {
        img src=(bar) alt="";
        @for label in scale_labels(picture.range, picture.shows, unit) { span { (label) } }
    };
    Ok(html! {
        figure #(picture.id) {
            figcaption { @if large { span #stage-name { (picture.name) } } @else { (picture.name) } }
            @if large {
                div #stage.frame tabindex="0" role="application"
                    aria-label="Picture to read out: arrow keys move, plus and minus zoom" { (frame) }
                div #stage-scale.scale { (scale) }
            } @else {
                div.frame.still { (frame) }
                div.scale { (scale) }
            }
        }
    })
}

/// The ends and the middle of a scale.
fn scale_labels([lo, hi]: [f32; 2], shows: Shows, unit: InUnit) -> [String; 3] {
    let (lo, hi) = (f64::from(lo), f64::from(hi));
    // A half shows its half, a whole number nothing more.
    let written = |value: f64| typeset(&number(value, usize::from((value - value.round()).abs() > 0.05)));
    [lo, f64::midpoint(lo, hi), hi].map(|kelvin| match shows {
        Shows::Temperature => format!("{} {}", written(unit.0.show(kelvin)), unit.0.symbol()),
        Shows::Difference => {
            let value = unit.0.show_difference(kelvin);
            let plus = if value > 0.0 { "+" } else { "" };
            format!("{plus}{} {}", written(value), unit.0.difference_symbol())
        }
    })
}

/// RGBA bytes as a PNG data address.
fn png(rows: usize, columns: usize, rgba: &[u8]) -> Result<String, ResultError> {
    let mut bytes = Cursor::new(Vec::new());
    image::write_buffer_with_format(
        &mut bytes,
        rgba,
        columns as u32,
        rows as u32,
        ExtendedColorType::Rgba8,
        ImageFormat::Png,
    )?;
    Ok(format!("data:image/png;base64,{}", STANDARD.encode(bytes.into_inner())))
}

/// The bodies of all parts as one path.
fn outlines(parts: &[Footprint]) -> String {
    let corner = |point: &Point<BaselinePixels>| format!("{} {}", number(point.x, 1), number(point.y, 1));
    let body = |part: &Footprint| {
        let corners: Vec<_> = part.corners.iter().map(corner).collect();
        format!("M{}Z", corners.join("L"))
    };
    parts.iter().map(body).collect()
}

/// The parts' outlines and names, and the rings with their numbers, over a picture of this size.
fn drawn_over(rows: usize, columns: usize, overlay: Overlay<'_>, large: bool) -> Markup {
    let Overlay { parts, names, marks } = overlay;
    let size = [columns as f64, rows as f64];
    let letter = size[0] / if large { 32.0 } else { 16.0 };
    let text = |mark: &Mark| match mark.name.as_str() {
        name if large && !name.is_empty() => format!("{} {name}", mark.number),
        _ => mark.number.to_string(),
    };
    let texts: Vec<String> = marks.iter().map(text).collect();
    let rings: Vec<Ring> = marks.iter().map(|mark| Ring::around(mark.at, mark.area_px, letter)).collect();
    let labels = label_places(&rings, &texts, letter, size);
    let named: &[Footprint] = if names { parts } else { &[] };
    // What a ring's label names already bears no second name.
    let named: Vec<&Footprint> =
        named.iter().filter(|part| !marks.iter().any(|mark| mark.name == part.designator)).collect();
    let taken: Vec<_> = labels.iter().zip(&texts).map(|(label, text)| label.area_of(text, letter)).collect();
    // Pixel centres lie at integers, so the picture begins half a pixel before zero.
    html! {
        svg viewBox={ "-0.5 -0.5 " (columns) " " (rows) } aria-hidden="true" {
            @if !parts.is_empty() { path.part d=(outlines(parts)) {} }
            @for (part, name) in name_places(&named, taken, letter / 2.0, size) {
                text.name x=(number(name.at.x, 1)) y=(number(name.at.y, 1)) text-anchor=(name.at.anchor)
                    font-size=(number(name.letter, 1)) { (part.designator) }
            }
            @for (((mark, ring), text), label) in marks.iter().zip(&rings).zip(&texts).zip(labels) {
                g class=(if mark.hotter { "hotter" } else { "colder" }) {
                    @for class in ["halo", "ring"] {
                        circle class=(class) cx=(number(ring.x, 1)) cy=(number(ring.y, 1)) r=(number(ring.radius, 1)) {}
                    }
                    text x=(number(label.x, 1)) y=(number(label.y, 1)) text-anchor=(label.anchor)
                        font-size=(number(letter, 1)) { (text) }
                }
            }
            path.cross d={ "M-" (columns) " 0H" (columns) "M0-" (rows) "V" (rows) }
                transform="translate(-99999 0)" {}
        }
    }
}
