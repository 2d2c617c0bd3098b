//! A few values as dots on one line, with the band in which they are expected.

use leptos::prelude::*;

/// Size of the drawing, CSS pixels.
const WIDTH: f64 = 150.0;
const HEIGHT: f64 = 18.0;
const MARGIN: f64 = 6.0;

/// One dot.
#[derive(Debug, Clone, PartialEq)]
pub struct Dot {
    /// Where on the line.
    pub value: f64,
    /// What it is, shown while the pointer rests on it.
    pub title: String,
    /// Whether it stands out.
    pub marked: bool,
}

/// The line. The numbers stand beside it for whoever does not see it.
#[component]
pub fn DotStrip(
    /// The values.
    dots: Vec<Dot>,
    /// Middle and half-width of the band.
    band: (f64, f64),
) -> impl IntoView {
    let ends = [band.0 - band.1, band.0 + band.1];
    let values = || dots.iter().map(|dot| dot.value).chain(ends);
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    let scale = (WIDTH - 2.0 * MARGIN) / (high - low).max(f64::MIN_POSITIVE);
    let across = |value: f64| MARGIN + (value - low) * scale;
    let middle = HEIGHT / 2.0;
    let band_from = across(ends[0]);
    let band_width = across(ends[1]) - band_from;
    let centre = across(band.0);
    let dots = dots.iter().map(|dot| {
        view! {
            <circle class:marked=dot.marked cx=across(dot.value) cy=middle r=if dot.marked { 4.0 } else { 3.0 }>
                <title>{dot.title.clone()}</title>
            </circle>
        }
    });
    let dots = dots.collect::<Vec<_>>();
    view! {
        <svg class="dot-strip" width=WIDTH height=HEIGHT viewBox=format!("0 0 {WIDTH} {HEIGHT}") aria-hidden="true">
            <rect x=band_from y=2 width=band_width height=HEIGHT - 4.0 />
            <line x1=centre x2=centre y1=1 y2=HEIGHT - 1.0 />
            {dots}
        </svg>
    }
}
