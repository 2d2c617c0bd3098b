//! The distribution of a place's temperature by drawing its inputs.

use analysis::uncertainty::Drawn;
use analysis::units::TemperatureUnit;
use leptos::html::Canvas;
use leptos::prelude::*;
use plotters::prelude::*;
use web_sys::HtmlCanvasElement;

use crate::widgets::chart::{ChartFrame, NotDrawn, STRONG};
use crate::wording;

/// The chart.
#[component]
pub fn DrawsChart(
    /// What was drawn.
    drawn: Drawn,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let canvas = NodeRef::<Canvas>::new();
    let caption = format!(
        "Drawn temperatures; mean {}, standard deviation {}",
        wording::temperature(unit, drawn.mean),
        wording::interval(unit, drawn.deviation)
    );
    Effect::new(move || {
        if let Some(canvas) = canvas.get() {
            // A chart that cannot be drawn leaves the sentence above it, which says the same in numbers.
            let _ = draw(canvas, &drawn, unit);
        }
    });
    view! {
        <figure class="profile">
            <canvas node_ref=canvas width="480" height="160" role="img" aria-label=caption.clone()></canvas>
            <figcaption>{caption}</figcaption>
        </figure>
    }
}

fn draw(canvas: HtmlCanvasElement, drawn: &Drawn, unit: TemperatureUnit) -> Result<(), NotDrawn> {
    const OUTSIDE: RGBColor = RGBColor(96, 106, 130);
    let bars: Vec<(f64, f64)> =
        drawn.histogram.iter().map(|(kelvin, count)| (*kelvin, *count as f64)).collect();
    let (Some(first), Some(last)) = (bars.first(), bars.last()) else { return Ok(()) };
    let width = (last.0 - first.0) / (bars.len().max(2) - 1) as f64;
    let most = bars.iter().map(|bar| bar.1).fold(1.0, f64::max);
    let (lo, hi) = (unit.show(first.0 - width / 2.0), unit.show(last.0 + width / 2.0));
    let frame = ChartFrame {
        across: lo..hi.max(lo + 1e-6),
        up: 0.0..most * 1.05,
        across_words: "",
        up_words: None,
        digits: [1, 0],
    };
    frame.draw(canvas, |chart| {
        chart.draw_series(bars.iter().map(|(kelvin, count)| {
            let inside = (drawn.interval.low..=drawn.interval.high).contains(kelvin);
            let (from, to) = (unit.show(kelvin - width / 2.0), unit.show(kelvin + width / 2.0));
            Rectangle::new([(from, 0.0), (to, *count)], if inside { STRONG } else { OUTSIDE }.filled())
        }))?;
        Ok(())
    })
}
