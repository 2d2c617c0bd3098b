//! The temperatures along the last line read-out: baseline and unit in one chart.

use analysis::inspection::place_reading::read_line;
use analysis::session::GaugePlace;
use analysis::units::TemperatureUnit;
use leptos::html::Canvas;
use leptos::prelude::*;
use plotters::prelude::*;
use web_sys::HtmlCanvasElement;

use crate::store::Store;
use crate::widgets::chart::{ChartFrame, INK, NotDrawn, PRINT};

/// Values along a line: distance in pixels, value in the person's unit.
type Run = Vec<(f64, f64)>;

/// The two runs of a chart.
#[derive(Debug, Clone, PartialEq)]
struct Runs {
    name: String,
    unit: TemperatureUnit,
    baseline: Run,
    under_test: Run,
}

/// The runs along the last line, if there is one. Reactive.
fn runs(store: Store) -> Option<Runs> {
    let session = store.session().get();
    let state = store.comparison().get();
    let comparison = state.latest()?;
    let (name, from, to) = session.gauges.iter().rev().find_map(|gauge| match gauge.place {
        GaugePlace::Line { from, to } => Some((gauge.name.clone(), from, to)),
        _ => None,
    })?;
    let unit = session.temperature_unit;
    let shown = |values: Vec<(f64, f32)>| -> Run {
        let valid = values.into_iter().filter(|(_, value)| !value.is_nan());
        valid.map(|(distance, value)| (distance, unit.show(f64::from(value)))).collect()
    };
    let baseline = shown(read_line(&comparison.baseline, from, to));
    let under_test = shown(read_line(&comparison.unit, from, to));
    Some(Runs { name, unit, baseline, under_test })
}

/// The chart, while there is a line.
#[component]
pub fn Profile() -> impl IntoView {
    let store = Store::expect();
    let runs = Memo::new(move |_| runs(store));
    let canvas = NodeRef::<Canvas>::new();
    Effect::new(move || {
        if let (Some(canvas), Some(runs)) = (canvas.get(), runs.get()) {
            // A chart that cannot be drawn leaves the table above it, which says the same in numbers.
            let _ = draw(canvas, &runs);
        }
    });
    let caption = move || {
        runs.with(|runs| {
            runs.as_ref().map(|runs| format!("Along {}: unit solid, baseline dashed", runs.name))
        })
    };
    view! {
        <figure class="profile" hidden=move || runs.with(Option::is_none)>
            <canvas node_ref=canvas width="640" height="200" role="img" aria-label=caption></canvas>
            <figcaption>{caption}</figcaption>
        </figure>
    }
}

fn draw(canvas: HtmlCanvasElement, runs: &Runs) -> Result<(), NotDrawn> {
    let values = || runs.baseline.iter().chain(&runs.under_test);
    let length = values().map(|(distance, _)| *distance).fold(1.0, f64::max);
    let (lo, hi) =
        values().fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), (_, v)| (lo.min(*v), hi.max(*v)));
    if lo > hi {
        return Ok(());
    }
    let margin = ((hi - lo) * 0.08).max(0.1);
    let frame = ChartFrame {
        across: 0.0..length,
        up: lo - margin..hi + margin,
        across_words: "Distance along the line, px",
        up_words: Some(runs.unit.symbol()),
        digits: [0, 1],
    };
    frame.draw(canvas, |chart| {
        let (pale, ink) = (PRINT.stroke_width(2), INK.stroke_width(2));
        chart.draw_series(DashedLineSeries::new(runs.baseline.iter().copied(), 6, 4, pale))?;
        chart.draw_series(LineSeries::new(runs.under_test.iter().copied(), ink))?;
        Ok(())
    })
}
