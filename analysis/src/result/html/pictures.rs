//! The three pictures, with each finding drawn at its place.

use std::io::Cursor;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use image::{ExtendedColorType, ImageFormat};
use maud::{Markup, html};

use super::labels::{Ring, label_places};
use super::viewer_data::Quantisation;
use crate::board::Footprint;
use crate::comparison::Comparison;
use crate::frame::Frame;
use crate::geometry::{BaselinePixels, Point};
use crate::inspection::{Finding, Sign};
use crate::palette::{LEVELS, Palette, paint};
use crate::result::ResultError;
use crate::result::numbers::{InUnit, number, typeset};
use crate::session::Session;
use crate::surface::range_of_emitting;

/// What a person reads above each picture.
pub(super) const DIFFERENCE: &str = "Difference, unit minus baseline";
pub(super) const BASELINE: &str = "Baseline, mean of the known-good boards";
pub(super) const UNIT: &str = "Unit under test, on the baseline's pixels";

/// Where the colours of the pictures begin and end, K.
pub(super) struct ShownRanges {
    /// Of baseline and unit, which share their colours.
    pub(super) surface: [f32; 2],
    /// Of the difference, the same on both sides of zero.
    pub(super) difference: [f32; 2],
}

impl ShownRanges {
    /// Ends that leave out bare metal (its magnified errors would take all the colours) but never a
    /// finding, rounded outwards to whole degrees of the session's unit.
    pub(super) fn of(session: &Session, comparison: &Comparison) -> Self {
        let unit = session.temperature_unit;
        let ranges = [&comparison.baseline, &comparison.unit]
            .map(|frame| range_of_emitting(frame, &comparison.emissivity).ok().flatten());
        let (lo, hi) = ranges
            .into_iter()
            .flatten()
            .reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)))
            .unwrap_or((293.0, 294.0));
        let shown_lo = unit.show(f64::from(lo)).floor();
        let shown_hi = unit.show(f64::from(hi)).ceil().max(shown_lo + 1.0);

        let largest = f64::from(comparison.difference_span(&session.criteria));
        let per_kelvin = unit.show_difference(1.0);
        let end = ((largest * per_kelvin).ceil() / per_kelvin) as f32;
        Self { surface: [unit.read(shown_lo) as f32, unit.read(shown_hi) as f32], difference: [-end, end] }
    }
}

/// One picture of the sheet.
struct Picture<'a, Q> {
    id: &'static str,
    name: &'static str,
    frame: &'a Frame<Q>,
    range: [f32; 2],
    palette: Palette,
    scale: [String; 3],
}

/// The pictures with their script-driven controls, which stay hidden without the script.
pub(super) fn section(
    session: &Session,
    comparison: &Comparison,
    shown: &ShownRanges,
    quantisation: &Quantisation,
) -> Result<Markup, ResultError> {
    let unit = InUnit(session.temperature_unit);
    let surface_scale = ends(shown.surface, |kelvin| {
        let value = unit.0.show(kelvin);
        format!("{} {}", typeset(&number(value, scale_decimals(value))), unit.0.symbol())
    });
    let difference_scale = ends(shown.difference, |kelvin| {
        let value = unit.0.show_difference(kelvin);
        let plus = if value > 0.0 { "+" } else { "" };
        format!("{plus}{} {}", typeset(&number(value, scale_decimals(value))), unit.0.difference_symbol())
    });
    let difference = Picture {
        id: "difference",
        name: DIFFERENCE,
        frame: &comparison.difference,
        range: shown.difference,
        palette: Palette::ColdWarm,
        scale: difference_scale,
    };
    let baseline = Picture {
        id: "baseline",
        name: BASELINE,
        frame: &comparison.baseline,
        range: shown.surface,
        palette: Palette::EvenSteps,
        scale: surface_scale.clone(),
    };
    let under_test = Picture {
        id: "unit",
        name: UNIT,
        frame: &comparison.unit,
        range: shown.surface,
        palette: Palette::EvenSteps,
        scale: surface_scale,
    };
    let (findings, parts) = (&comparison.findings, &comparison.footprints);
    Ok(html! {
        section.pictures {
            h2 { "Pictures" }
            div.plate {
                div {
                    (figure(&difference, parts, findings, true)?)
                    (controls(quantisation))
                }
                div.side {
                    (figure(&baseline, parts, &[], false)?)
                    (figure(&under_test, parts, findings, false)?)
                }
            }
            p.note {
                "Rings mark the largest difference of each finding by its number in the table: a full ring where the unit "
                "is hotter, a broken one where it is colder. Hatched places have no valid reading. Colours end at the ends of their scales; "
                "values beyond keep the end colour."
                @if !parts.is_empty() { " Thin outlines are the parts' bodies by the placement file." }
            }
        }
    })
}

/// What the script fills and shows; without it there is nothing to control.
fn controls(quantisation: &Quantisation) -> Markup {
    html! {
        div #controls hidden {
            dl.readings aria-live="polite" {
                div { dt { "Pixel" } dd #place {} }
                @for map in &quantisation.maps { div { dt { (map.short_name) } dd #{ "read-" (map.id) } {} } }
            }
            div.choices {
                label { "Picture " select #map-choice {} }
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

fn ends(range: [f32; 2], write: impl Fn(f64) -> String) -> [String; 3] {
    let [lo, hi] = range.map(f64::from);
    [lo, f64::midpoint(lo, hi), hi].map(write)
}

/// A half shows its half, a whole number nothing more.
fn scale_decimals(value: f64) -> usize {
    usize::from((value - value.round()).abs() > 0.05)
}

fn figure<Q>(
    picture: &Picture<'_, Q>,
    parts: &[Footprint],
    findings: &[Finding],
    large: bool,
) -> Result<Markup, ResultError> {
    let (rows, columns) = picture.frame.shape();
    let [lo, hi] = picture.range;
    let pixels = png(rows, columns, &paint(picture.frame, lo, hi, picture.palette))?;
    let bar: Vec<u8> = picture.palette.colors().iter().flat_map(|&[r, g, b]| [r, g, b, 255]).collect();
    let bar = png(1, LEVELS, &bar)?;
    let frame = html! {
        img src=(pixels) width=(columns) height=(rows) alt=(picture.name);
        (marks(rows, columns, parts, findings, large))
    };
    let scale = html! {
        img src=(bar) alt="";
        @for label in &picture.scale { span { (label) } }
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

/// The parts' outlines, and the findings as rings with their numbers, over a picture of this size; a large picture has room for
/// the designators too.
fn marks(rows: usize, columns: usize, parts: &[Footprint], findings: &[Finding], large: bool) -> Markup {
    let letter = columns as f64 / if large { 32.0 } else { 16.0 };
    let text = |(index, finding): (usize, &Finding)| match &finding.designator {
        Some(designator) if large && finding.is_beside() => format!("{} beside {designator}", index + 1),
        Some(designator) if large => format!("{} {designator}", index + 1),
        _ => (index + 1).to_string(),
    };
    let texts: Vec<String> = findings.iter().enumerate().map(text).collect();
    let rings: Vec<Ring> = findings.iter().map(|finding| Ring::around(finding, letter)).collect();
    let labels = label_places(&rings, &texts, letter, [columns as f64, rows as f64]);
    // Pixel centres lie at integers, so the picture begins half a pixel before zero.
    html! {
        svg viewBox={ "-0.5 -0.5 " (columns) " " (rows) } aria-hidden="true" {
            @if !parts.is_empty() { path.part d=(outlines(parts)) {} }
            @for (((finding, ring), text), label) in findings.iter().zip(&rings).zip(&texts).zip(labels) {
                g class=(if finding.sign == Sign::Hotter { "hotter" } else { "colder" }) {
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
