//! The three pictures, with each finding drawn at its place.

use std::io::Cursor;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use image::{ExtendedColorType, ImageFormat};
use maud::{Markup, html};

use super::viewer_data::Quantisation;
use crate::comparison::Comparison;
use crate::frame::Frame;
use crate::inspection::{Finding, Sign};
use crate::palette::{LEVELS, Palette, paint};
use crate::result::ResultError;
use crate::result::numbers::{InUnit, number, typeset};
use crate::session::Session;

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
    /// Ends that leave out the outermost pixels (a few wild ones would take all the colours) but
    /// never a finding, rounded outwards to whole degrees of the session's unit.
    pub(super) fn of(session: &Session, comparison: &Comparison) -> Self {
        let unit = session.temperature_unit;
        let mut surface: Vec<f32> = [&comparison.baseline, &comparison.unit]
            .iter()
            .flat_map(|frame| frame.as_slice().iter().copied().filter(|value| !value.is_nan()))
            .collect();
        let lo = quantile(&mut surface, 0.002).unwrap_or(293.0);
        let hi = quantile(&mut surface, 0.9995).unwrap_or(294.0);
        let shown_lo = unit.show(f64::from(lo)).floor();
        let shown_hi = unit.show(f64::from(hi)).ceil().max(shown_lo + 1.0);

        let mut sizes: Vec<f32> = comparison
            .difference
            .as_slice()
            .iter()
            .filter(|value| !value.is_nan())
            .map(|v| v.abs())
            .collect();
        let usual = f64::from(quantile(&mut sizes, 0.9995).unwrap_or(0.0));
        let peaks = comparison.findings.iter().map(|finding| finding.peak.value().abs());
        let largest = peaks.fold(usual.max(session.criteria.limit.value()), f64::max);
        let per_kelvin = unit.show_difference(1.0);
        let end = ((largest * per_kelvin).ceil() / per_kelvin) as f32;
        Self { surface: [unit.read(shown_lo) as f32, unit.read(shown_hi) as f32], difference: [-end, end] }
    }
}

/// The value below which this fraction of the values lies.
fn quantile(values: &mut [f32], fraction: f64) -> Option<f32> {
    let index = ((values.len().checked_sub(1)?) as f64 * fraction) as usize;
    Some(*values.select_nth_unstable_by(index, f32::total_cmp).1)
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
    let findings = &comparison.findings;
    Ok(html! {
        section.pictures {
            h2 { "Pictures" }
            div.plate {
                (figure(&difference, findings, true)?)
                div.side {
                    (figure(&baseline, &[], false)?)
                    (figure(&under_test, findings, false)?)
                }
            }
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
            p.note {
                "Rings mark findings by their number in the table: a full ring where the unit is hotter, a broken one "
                "where it is colder. Hatched places have no valid reading. Colours end at the ends of their scales; "
                "values beyond keep the end colour."
            }
        }
    })
}

fn ends(range: [f32; 2], write: impl Fn(f64) -> String) -> [String; 3] {
    let [lo, hi] = range.map(f64::from);
    [lo, f64::midpoint(lo, hi), hi].map(write)
}

/// A half shows its half, a whole number nothing more.
fn scale_decimals(value: f64) -> usize {
    usize::from((value - value.round()).abs() > 0.05)
}

fn figure<Q>(picture: &Picture<'_, Q>, findings: &[Finding], large: bool) -> Result<Markup, ResultError> {
    let (rows, columns) = picture.frame.shape();
    let [lo, hi] = picture.range;
    let pixels = png(rows, columns, &paint(picture.frame, lo, hi, picture.palette))?;
    let bar: Vec<u8> = picture.palette.colors().iter().flat_map(|&[r, g, b]| [r, g, b, 255]).collect();
    let bar = png(1, LEVELS, &bar)?;
    let frame = html! {
        img src=(pixels) width=(columns) height=(rows) alt=(picture.name);
        (marks(rows, columns, findings))
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

/// A box, left, top, right, bottom.
type Area = [f64; 4];

fn overlap(a: &Area, b: &Area) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

/// The findings as rings with number and designator, over a picture of this size.
fn marks(rows: usize, columns: usize, findings: &[Finding]) -> Markup {
    let (width, height) = (columns as f64, rows as f64);
    let letter = width / 32.0;
    let mut taken: Vec<Area> = Vec::new();
    let labels = findings.iter().enumerate().map(|(index, finding)| {
        let text = match &finding.designator {
            Some(designator) => format!("{} {designator}", index + 1),
            None => (index + 1).to_string(),
        };
        let radius = ring_radius(finding, letter);
        let (x, y) = label_place(finding, radius, letter, text.chars().count(), [width, height], &mut taken);
        (finding, radius, text, x, y)
    });
    // Pixel centres lie at integers, so the picture begins half a pixel before zero.
    html! {
        svg viewBox={ "-0.5 -0.5 " (columns) " " (rows) } font-size=(format!("{letter:.1}")) aria-hidden="true" {
            @for (finding, radius, text, x, y) in labels {
                g class=(if finding.sign == Sign::Hotter { "hotter" } else { "colder" }) {
                    @for class in ["halo", "ring"] {
                        circle class=(class) cx=(number(finding.centroid.x, 1)) cy=(number(finding.centroid.y, 1))
                            r=(number(radius, 1)) {}
                    }
                    text x=(number(x, 1)) y=(number(y, 1)) { (text) }
                }
            }
            path.cross d={ "M-" (columns) " 0H" (columns) "M0-" (rows) "V" (rows) }
                transform="translate(-99999 0)" {}
        }
    }
}

/// A ring around the whole finding, never too small to see.
fn ring_radius(finding: &Finding, letter: f64) -> f64 {
    let [left, top, right, bottom] = finding.bounds.map(f64::from);
    let half_diagonal = (right - left + 1.0).hypot(bottom - top + 1.0) / 2.0;
    half_diagonal.max(letter * 0.6)
}

/// Baseline of the label, at the first side of the ring where it is inside the picture and free of
/// the labels before it.
fn label_place(
    finding: &Finding,
    radius: f64,
    letter: f64,
    characters: usize,
    [width, height]: [f64; 2],
    taken: &mut Vec<Area>,
) -> (f64, f64) {
    let (x, y) = (finding.centroid.x, finding.centroid.y);
    let (long, gap) = (letter * 0.62 * characters as f64, letter * 0.25);
    let sides = [
        (x + radius + gap, y + letter * 0.35),
        (x - radius - gap - long, y + letter * 0.35),
        (x - long / 2.0, y - radius - gap),
        (x - long / 2.0, y + radius + gap + letter * 0.8),
    ];
    let area = |&(x, y): &(f64, f64)| [x, y - letter * 0.8, x + long, y + letter * 0.2];
    let fits = |area: &Area| area[0] > 0.0 && area[1] > 0.0 && area[2] < width && area[3] < height;
    let free =
        |side: &&(f64, f64)| fits(&area(side)) && !taken.iter().any(|other| overlap(other, &area(side)));
    let place = sides.iter().find(free).copied().unwrap_or(sides[0]);
    taken.push(area(&place));
    place
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;
    use crate::units::KelvinDifference;

    fn finding_at(x: f64, y: f64) -> Finding {
        Finding {
            sign: Sign::Hotter,
            peak: KelvinDifference::known(5.0),
            peak_at: Point::new(x, y),
            mean: KelvinDifference::known(3.0),
            centroid: Point::new(x, y),
            area_px: 20,
            area_mm2: None,
            bounds: [x as u32 - 2, y as u32 - 2, x as u32 + 2, y as u32 + 2],
            designator: None,
            designator_distance_mm: None,
            significance: 2.0,
        }
    }

    #[test]
    fn labels_of_neighbours_do_not_cover_each_other() {
        let mut taken = Vec::new();
        for finding in [finding_at(50.0, 50.0), finding_at(52.0, 53.0), finding_at(49.0, 48.0)] {
            label_place(&finding, 5.0, 6.0, 4, [100.0, 100.0], &mut taken);
        }
        for (index, area) in taken.iter().enumerate() {
            assert!(taken[..index].iter().all(|other| !overlap(other, area)), "{taken:?}");
        }
    }

    #[test]
    fn a_label_at_the_right_edge_moves_to_the_left() {
        let mut taken = Vec::new();
        let (x, _) = label_place(&finding_at(95.0, 50.0), 5.0, 6.0, 4, [100.0, 100.0], &mut taken);
        assert!(x < 95.0);
    }

    #[test]
    fn a_quantile_of_nothing_is_nothing() {
        assert_eq!(quantile(&mut [], 0.5), None);
        assert_eq!(quantile(&mut [3.0, 1.0, 2.0], 0.5), Some(2.0));
    }
}
