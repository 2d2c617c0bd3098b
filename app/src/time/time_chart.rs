//! Curves over time: the moment looked at, a click to go there, a drag to mark a span.

use leptos::html::Canvas;
use leptos::prelude::*;
use plotters::prelude::*;
use web_sys::{KeyboardEvent, PointerEvent};

use super::curves::line_of;
use super::desk::Desk;
use crate::platform::element_size::watch_size;
use crate::widgets::chart::{ChartFrame, NotDrawn, PRINT, STRONG, digits_for};

/// A drag shorter than this is a click, CSS pixels.
const CLICK: i32 = 5;

/// The marked span, as on the slider above.
const MARKED: RGBColor = RGBColor(255, 211, 107);

/// How much of the ground a band hides: several lie over each other.
const BAND: f64 = 0.14;

/// What is drawn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Drawing {
    /// The curves, each with the place of its colour.
    pub curves: Vec<(usize, Vec<(f64, f64)>)>,
    /// The outlines of what curves may be within their uncertainty, with the place of their colour.
    pub bands: Vec<(usize, Vec<(f64, f64)>)>,
    /// Curves that only guide the eye, such as a fit, with the place of their colour.
    pub guides: Vec<(usize, Vec<(f64, f64)>)>,
    /// Moments at which something was done on the bench, s, with its name.
    pub events: Vec<(f64, String)>,
    /// The marked span, s; `None` where all is.
    pub span: Option<(f64, f64)>,
    /// Levels across the whole chart, such as a threshold.
    pub levels: Vec<f64>,
    /// Times from left to right, s.
    pub across: (f64, f64),
    /// What runs up, with its unit.
    pub up_words: String,
}

impl Drawing {
    fn frame(&self) -> Option<ChartFrame<'_>> {
        let drawn = self.curves.iter().chain(&self.guides).chain(&self.bands);
        let curves = drawn.flat_map(|(_, points)| points.iter().map(|p| p.1));
        let all = curves.chain(self.levels.iter().copied());
        let (lo, hi) = all.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), v| (lo.min(v), hi.max(v)));
        let (from, to) = self.across;
        if lo > hi || from >= to {
            return None;
        }
        let margin = ((hi - lo) * 0.06).max(1e-3);
        Some(ChartFrame {
            across: from..to,
            up: lo - margin..hi + margin,
            across_words: "Time, s",
            up_words: Some(&self.up_words),
            digits: [digits_for((to - from) / 5.0), digits_for((hi - lo + 2.0 * margin) / 2.0)],
        })
    }

    fn draw(&self, canvas: web_sys::HtmlCanvasElement) -> Result<(), NotDrawn> {
        let Some(frame) = self.frame() else { return Ok(()) };
        let (from, to) = self.across;
        let (foot, head) = (frame.up.start, frame.up.end);
        frame.draw(canvas, |chart| {
            if let Some((start, end)) = self.span {
                let marked = [(start.max(from), foot), (end.min(to), head)];
                chart.draw_series(std::iter::once(Rectangle::new(marked, MARKED.mix(BAND).filled())))?;
            }
            for (at, name) in self.events.iter().filter(|(at, _)| (from..=to).contains(at)) {
                let line = LineSeries::new([(*at, foot), (*at, head)], STRONG.mix(0.6));
                chart.draw_series(line)?;
                let label = ("sans-serif", 12).into_font().color(&PRINT);
                chart.draw_series(std::iter::once(Text::new(format!(" {name}"), (*at, head), label)))?;
            }
            for level in &self.levels {
                let ends = [(from, *level), (to, *level)];
                chart.draw_series(DashedLineSeries::new(ends, 4, 4, PRINT.stroke_width(1)))?;
            }
            for (place, outline) in &self.bands {
                let style = line_of(*place).0.mix(BAND);
                chart.draw_series(std::iter::once(Polygon::new(outline.clone(), style)))?;
            }
            for (place, points) in &self.guides {
                let style = line_of(*place).0.stroke_width(1);
                chart.draw_series(DashedLineSeries::new(points.iter().copied(), 3, 5, style))?;
            }
            for (place, points) in &self.curves {
                let (color, dashed) = line_of(*place);
                let style = color.stroke_width(2);
                if dashed {
                    chart.draw_series(DashedLineSeries::new(points.iter().copied(), 6, 4, style))?;
                } else {
                    chart.draw_series(LineSeries::new(points.iter().copied(), style))?;
                }
            }
            Ok(())
        })
    }
}

/// The chart.
#[component]
pub fn TimeChart(
    /// What is drawn.
    #[prop(into)]
    drawing: Signal<Drawing>,
    /// What it shows, in a sentence.
    #[prop(into)]
    caption: Signal<String>,
    /// Stable name for the browser tests.
    #[prop(into)]
    testid: String,
) -> impl IntoView {
    let desk = expect_context::<Desk>();
    let canvas = NodeRef::<Canvas>::new();
    let pressed = RwSignal::new(None::<i32>);
    // A window that changes and a phone that is turned need another drawing, not a stretched one.
    let size = RwSignal::new((0.0, 0.0));
    watch_size(move || canvas.get().map(Into::into), move |width, height| size.set((width, height)));
    let width_of = move || canvas.get_untracked().map_or(640, |canvas| canvas.client_width().max(200));
    Effect::new(move || {
        let Some(canvas) = canvas.get() else { return };
        let (width, height) = size.get();
        // The fold that holds it may be closed, and then it has no width yet.
        if width < 1.0 || height < 1.0 {
            return;
        }
        canvas.set_width(width.round() as u32);
        canvas.set_height(height.round() as u32);
        // A chart that cannot be drawn leaves the table beside it, which says the same in numbers.
        let _ = drawing.with(|drawing| drawing.draw(canvas));
    });
    let time_at = move |x: i32| {
        let width = f64::from(width_of());
        drawing.with_untracked(|drawing| {
            drawing.frame().map(|frame| frame.across_at(f64::from(x) / width, width))
        })
    };
    let press = move |event: PointerEvent| pressed.set(Some(event.offset_x()));
    let release = move |event: PointerEvent| {
        let Some(from) = pressed.try_update(Option::take).flatten() else { return };
        let to = event.offset_x();
        let times = time_at(from).zip(time_at(to));
        let Some((from_s, to_s)) = times else { return };
        if (to - from).abs() < CLICK {
            desk.go_to_time(to_s);
        } else {
            desk.mark_times(from_s, to_s);
        }
    };
    let keys = move |event: KeyboardEvent| {
        let frame = desk.frame.get_untracked();
        match event.key().as_str() {
            "ArrowLeft" => desk.go_to(frame.saturating_sub(1)),
            "ArrowRight" => desk.go_to(frame + 1),
            "Home" => desk.go_to(0),
            "End" => desk.go_to(desk.last()),
            _ => return,
        }
        event.prevent_default();
    };
    let now = move || {
        let time = desk.time_of(desk.frame.get())?;
        let width = f64::from(width_of());
        let share = drawing.with(|drawing| drawing.frame().map(|frame| frame.share_of(time, width)))?;
        (0.0..=1.0).contains(&share).then(|| format!("left: {:.3}%", 100.0 * share))
    };
    view! {
        <figure class="time-chart">
            <canvas
                node_ref=canvas
                role="img"
                tabindex="0"
                aria-label=caption
                data-testid=testid
                on:pointerdown=press
                on:pointerup=release
                on:pointerleave=move |_| pressed.set(None)
                on:keydown=keys
            ></canvas>
            <div class="now" style=now hidden=move || now().is_none()></div>
            <figcaption class="remark">{caption}</figcaption>
        </figure>
    }
}
