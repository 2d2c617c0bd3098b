//! Places over time: one chart with its legend, a table of chosen columns, and the file.

use std::collections::BTreeSet;

use analysis::sequence::{TableCell, rate_of_change};
use analysis::uncertainty::expanded;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;
use plotters::style::RGBColor;

use super::curves::{
    Chosen, Curve, Shows, curves, curves_at_first, line_of, rate_window_s, read_outs, thinned,
};
use super::desk::{Desk, Trends};
use super::export::{self, FileKind};
use super::protocol::Reading;
use super::time_chart::{Drawing, TimeChart};
use crate::store::Store;
use crate::widgets::{Choice, Tick};
use crate::wording;

/// Points drawn for each curve at most, over two.
const STRETCHES: usize = 700;
/// Points of a fitted curve.
const GUIDE_POINTS: u32 = 200;
/// Rows of the table at most; the file has all.
const ROWS: usize = 40;

const READINGS: [(Reading, &str); 3] =
    [(Reading::Mean, "mean"), (Reading::Greatest, "highest"), (Reading::Least, "lowest")];
const MEASURES: [(Shows, &str); 2] = [(Shows::Temperature, "temperature"), (Shows::Rate, "rate of change")];

/// The fold.
#[component]
pub fn TrendsPanel() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let chosen = expect_context::<Chosen>();
    Effect::new(move |before: Option<BTreeSet<String>>| {
        desk.trends.with(|trends| {
            let Some(trends) = trends else { return before.unwrap_or_default() };
            let known = curves(trends);
            let names = chosen.names.get_untracked();
            // What the person chose stays chosen as long as any of it is there; a read-out that is new is shown.
            if known.iter().any(|curve| names.contains(&curve.name)) {
                let seen = before.unwrap_or_default();
                let new = read_outs(trends).filter(|name| !seen.contains(*name) && !names.contains(*name));
                new.cloned().for_each(|name| chosen.show(name, true));
            } else {
                chosen.names.set(curves_at_first(trends));
            }
            read_outs(trends).cloned().collect()
        })
    });
    let summary = move || match desk.trends.with(|trends| trends.as_ref().map(|t| t.names.len() - 1)) {
        Some(places) => format!("Over time ({})", wording::count(places, "place")),
        None => "Over time".to_owned(),
    };
    view! {
        <details class="panel" data-testid="trends" open=true>
            <summary>{summary}</summary>
            <div class="panel-body">
                <FollowRow />
                <Show when=move || desk.trends.with(Option::is_some)>
                    <Curves />
                </Show>
            </div>
        </details>
    }
}

/// The button that follows the places, and whether what is shown still holds.
#[component]
fn FollowRow() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let there = move || desk.trends.with(Option::is_some);
    let blocked = move || {
        let growing = desk.opened.with(|opened| opened.as_ref().is_some_and(|opened| !opened.complete));
        growing
            || desk.timeline.with(Option::is_none)
            || desk.metadata.with(|metadata| metadata.quantity.is_none())
    };
    let words = move || match (there(), desk.out_of_date.get()) {
        (false, _) => "The read-outs, the parts in view, and the hottest and coldest pixel, in every frame.",
        (true, true) => "Out of date: the surface, the surroundings or the places have changed since.",
        (true, false) => "Corrected with the emissivities and surroundings of step 3, as the picture is.",
    };
    view! {
        <div class="row follow" class:settled=move || there() && !desk.out_of_date.get()>
            <button
                class:primary=move || !there() || desk.out_of_date.get()
                data-testid="follow"
                disabled=move || blocked() || desk.work.with(Option::is_some)
                on:click=move |_| desk.follow()
            >
                {move || if there() { "Work the curves out again" } else { "Follow through the whole recording" }}
            </button>
            <span class="remark" role="status">{words}</span>
        </div>
    }
}

/// Chart, legend, table.
#[component]
fn Curves() -> impl IntoView {
    let (store, desk, chosen) = (Store::expect(), expect_context::<Desk>(), expect_context::<Chosen>());
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let shown = Memo::new(move |_| {
        desk.trends.with(|trends| trends.as_ref().map(|trends| chosen.shown(trends)).unwrap_or_default())
    });
    let drawing = Memo::new(move |_| {
        let unit = unit.get();
        desk.trends
            .with(|trends| trends.as_ref().map(|t| drawing(desk, chosen, t, &shown.get(), unit)))
            .unwrap_or_default()
    });
    let caption = Signal::derive(move || {
        let what = shown.with(Vec::len);
        format!(
            "{} over time. Click to go to a moment, pull to mark a span; the arrow keys step.",
            wording::count(what, "curve")
        )
    });
    let save = move |kind| {
        let made = untrack(|| {
            desk.trends.with(|trends| {
                trends.as_ref().map(|trends| export::table(desk, chosen, trends, &shown.get(), unit.get()))
            })
        });
        if let Some(table) = made {
            export::save(desk, &table, kind);
        }
    };
    view! {
        <div class="row">
            <Choice
                legend="Which value of each place"
                quiet=true
                testid="trend-reading"
                options=READINGS.to_vec()
                chosen=Signal::derive(move || Some(chosen.reading.get()))
                choose=move |reading| chosen.reading.set(reading)
            />
            <Choice
                legend="The chart shows"
                quiet=true
                testid="trend-measure"
                options=MEASURES.to_vec()
                chosen=Signal::derive(move || Some(chosen.measure.get()))
                choose=move |measure| chosen.measure.set(measure)
            />
            <Tick label="Only the span" on=chosen.only_span set=move |on| chosen.only_span.set(on) />
            <Show when=move || chosen.measure.get() == Shows::Temperature>
                <Tick label="95 %" on=chosen.band set=move |on| chosen.band.set(on) />
            </Show>
        </div>
        <TimeChart drawing=drawing caption=caption testid="trend-chart" />
        <p class="remark" hidden=move || chosen.measure.get() != Shows::Rate>{move || rate_window_words(desk)}</p>
        <Legend shown=shown unit=unit />
        <div class="row">
            <button data-testid="trend-csv" on:click=move |_| save(FileKind::Csv)>"Save as CSV"</button>
            <button data-testid="trend-xlsx" on:click=move |_| save(FileKind::Workbook)>"Save as a workbook"</button>
        </div>
        <PlacesToShow />
        <TableOfMoments shown=shown unit=unit />
    }
}

fn drawing(desk: Desk, chosen: Chosen, trends: &Trends, shown: &[Curve], unit: TemperatureUnit) -> Drawing {
    let times = trends.series.times_s();
    let range = range_of(desk, chosen, trends);
    let across = (
        times.get(range.start).copied().unwrap_or(0.0),
        times.get(range.end.saturating_sub(1)).copied().unwrap_or(1.0),
    );
    let temperatures = chosen.measure.get() == Shows::Temperature;
    let column = |curve: &Curve| trends.series.column(curve.place, chosen.reading_of(curve));
    let thin = |values: &[f32]| thinned(times, values, range.clone(), STRETCHES);
    let points = |curve: &Curve| -> Vec<(f64, f64)> {
        if temperatures {
            let shown = |(time, kelvin)| (time, unit.show(f64::from(kelvin)));
            return thin(column(curve)).into_iter().map(shown).collect();
        }
        thin(&rates_per_minute(times, column(curve), unit))
            .into_iter()
            .map(|(time, rate)| (time, f64::from(rate)))
            .collect()
    };
    // Up along the upper ends of the 95 % intervals, back along the lower ones.
    let band = |curve: &Curve| {
        let doubts = trends.series.uncertainty(curve.place, chosen.reading_of(curve));
        let end = |way: f32| {
            let values = column(curve).iter().zip(doubts).map(|(kelvin, u)| kelvin + way * expanded(*u));
            let ends = thin(&values.collect::<Vec<f32>>()).into_iter();
            ends.map(|(time, kelvin)| (time, unit.show(f64::from(kelvin))))
        };
        end(1.0).chain(end(-1.0).rev()).collect::<Vec<_>>()
    };
    let fitted = |curve: &Curve| {
        let fit = desk.fits.with(|fits| fits.get(&curve.series(chosen.reading.get()))?.clone().ok())?;
        let step = (across.1 - across.0) / f64::from(GUIDE_POINTS);
        let points =
            (0..=GUIDE_POINTS).map(|n| across.0 + f64::from(n) * step).filter(|time| *time >= fit.start_s);
        Some(points.map(|time| (time, unit.show(fit.at(time)))).collect())
    };
    let curves = shown.iter().enumerate().map(|(place, curve)| (place, points(curve))).collect();
    let events = desk.timeline.with(|timeline| {
        let events = timeline.iter().flat_map(|timeline| timeline.events().iter());
        events.map(|event| (event.at_s, event.name.clone())).collect()
    });
    let mut drawing = Drawing { curves, across, events, span: marked_times(desk), ..Drawing::default() };
    if !temperatures {
        drawing.up_words = format!("{}/min", unit.difference_symbol());
        return drawing;
    }
    drawing.up_words = unit.symbol().to_owned();
    drawing.guides =
        shown.iter().enumerate().filter_map(|(place, curve)| Some((place, fitted(curve)?))).collect();
    drawing.levels = chosen.level.get().map(|kelvin| unit.show(kelvin)).into_iter().collect();
    if chosen.band.get() {
        drawing.bands = shown.iter().enumerate().map(|(place, curve)| (place, band(curve))).collect();
    }
    drawing
}

/// When the marked span begins and ends, s; `None` where all frames are marked. Reactive.
fn marked_times(desk: Desk) -> Option<(f64, f64)> {
    let span = desk.span.get();
    let all = desk.opened.with(|opened| opened.as_ref().is_none_or(|opened| span == (0..opened.frames)));
    let ends = || desk.time_of(span.start).zip(desk.time_of(span.end.saturating_sub(1)));
    if all { None } else { ends() }
}

/// How fast a place changes at each frame, in the person's unit a minute.
fn rates_per_minute(times: &[f64], kelvins: &[f32], unit: TemperatureUnit) -> Vec<f32> {
    let values: Vec<f64> = kelvins.iter().map(|kelvin| f64::from(*kelvin)).collect();
    let rates = rate_of_change(times, &values, rate_window_s(times));
    rates.iter().map(|rate| (60.0 * unit.show_difference(*rate)) as f32).collect()
}

/// The rows shown, as places in the series. Reactive.
fn range_of(desk: Desk, chosen: Chosen, trends: &Trends) -> std::ops::Range<usize> {
    let all = trends.series.span();
    let span = if chosen.only_span.get() { desk.span.get() } else { all.clone() };
    let start = span.start.saturating_sub(all.start).min(trends.series.frames());
    start..span.end.saturating_sub(all.start).clamp(start, trends.series.frames())
}

fn css((RGBColor(r, g, b), dashed): (RGBColor, bool)) -> (String, bool) {
    (format!("rgb({r} {g} {b})"), dashed)
}

/// The curves shown with their colours and what they read now.
#[component]
fn Legend(
    /// The curves.
    shown: Memo<Vec<Curve>>,
    /// The unit to show them in.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let (desk, chosen) = (expect_context::<Desk>(), expect_context::<Chosen>());
    let entry = move |(place, curve): (usize, Curve)| {
        let (color, dashed) = css(line_of(place));
        let name = curve.name.clone();
        // In the unit of the chart.
        let all = Memo::new(move |_| {
            let reading = chosen.reading_of(&curve);
            desk.trends.with(|trends| {
                let series = &trends.as_ref()?.series;
                let column = series.column(curve.place, reading);
                Some(match chosen.measure.get() {
                    Shows::Temperature => column.to_vec(),
                    Shows::Rate => rates_per_minute(series.times_s(), column, unit.get()),
                })
            })
        });
        let value = move || {
            let start =
                desk.trends.with(|trends| trends.as_ref().map(|trends| trends.series.span().start))?;
            let at = desk.frame.get().checked_sub(start)?;
            let value = f64::from(all.with(|all| all.as_ref()?.get(at).copied())?);
            Some(match chosen.measure.get() {
                Shows::Temperature => wording::temperature(unit.get(), value),
                Shows::Rate => wording::per_minute(unit.get(), value),
            })
        };
        let hide = name.clone();
        let style = format!("background: {color}; --line: {color}");
        view! {
            <label class="tick">
                <input
                    type="checkbox"
                    checked=true
                    on:change=move |event| chosen.show(hide.clone(), event_target_checked(&event))
                />
                <i class:dashed=dashed style=style></i>
                {name}
                <span class="value">{value}</span>
            </label>
        }
    };
    view! {
        <div class="legend" role="group" aria-label="Curves shown, with their value now" data-testid="trend-legend">
            {move || shown.get().into_iter().enumerate().map(entry).collect::<Vec<_>>()}
        </div>
    }
}

/// Over which time a rate is taken. Reactive.
fn rate_window_words(desk: Desk) -> Option<String> {
    desk.trends.with(|trends| {
        let seconds = rate_window_s(trends.as_ref()?.series.times_s());
        let half = wording::seconds(seconds / 2.0);
        Some(format!(
            "Each rate is a straight line's over {}, from {half} before to {half} after.",
            wording::seconds(seconds)
        ))
    })
}

/// All places to choose from, folded away.
#[component]
fn PlacesToShow() -> impl IntoView {
    let (desk, chosen) = (expect_context::<Desk>(), expect_context::<Chosen>());
    let ticks = move || {
        let all = desk.trends.with(|trends| trends.as_ref().map(|trends| curves(trends)).unwrap_or_default());
        let tick = |curve: Curve| {
            let (name, wanted) = (curve.name.clone(), curve.name.clone());
            let on = Signal::derive(move || chosen.names.with(|names| names.contains(&wanted)));
            let set = move |shown: bool| chosen.show(name.clone(), shown);
            view! { <Tick label=curve.name on=on set=set /> }
        };
        all.into_iter().map(tick).collect::<Vec<_>>()
    };
    let window = move || rate_window_words(desk);
    view! {
        <details data-testid="trend-places">
            <summary class="remark">"Choose curves and columns"</summary>
            <div class="row">
                <Tick
                    label="Columns of standard uncertainty"
                    on=chosen.uncertainties
                    set=move |on| chosen.uncertainties.set(on)
                />
                <Tick label="Columns of rate of change" on=chosen.rates set=move |on| chosen.rates.set(on) />
                <span class="remark">{window}</span>
            </div>
            <div class="legend">{ticks}</div>
        </details>
    }
}

/// Moments down, curves across; thinned to a readable number.
#[component]
fn TableOfMoments(
    /// The curves.
    shown: Memo<Vec<Curve>>,
    /// The unit to show them in.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let (desk, chosen) = (expect_context::<Desk>(), expect_context::<Chosen>());
    let open = RwSignal::new(false);
    let table = move || {
        if !open.get() {
            return None;
        }
        let table = desk.trends.with(|trends| {
            trends.as_ref().map(|trends| export::table(desk, chosen, trends, &shown.get(), unit.get()))
        })?;
        let rows = table.frames.len();
        let every = rows.div_ceil(ROWS).max(1);
        let head = table.headings().into_iter().map(|heading| view! { <th scope="col">{heading}</th> });
        let lines = table.rows().step_by(every).map(|row| {
            let cells = row.into_iter().map(|cell| view! { <td>{cell_words(cell)}</td> }).collect::<Vec<_>>();
            view! { <tr>{cells}</tr> }
        });
        let lines: Vec<_> = lines.collect();
        let told = (every > 1).then(|| format!("One row for {every} frames; the file has all {rows}."));
        Some(view! {
            <div class="table-wrap">
                <table class="table" data-testid="trend-table">
                    <thead><tr>{head.collect::<Vec<_>>()}</tr></thead>
                    <tbody>{lines}</tbody>
                </table>
            </div>
            <p class="remark">{told}</p>
        })
    };
    let toggled = move |event| {
        let details: web_sys::HtmlDetailsElement = event_target(&event);
        open.set(details.open());
    };
    view! {
        <details on:toggle=toggled>
            <summary class="remark">"Table"</summary>
            {table}
        </details>
    }
}

fn cell_words(cell: TableCell) -> String {
    match cell {
        TableCell::Empty => String::new(),
        TableCell::Number { value, shown } => wording::number(value, usize::from(shown)),
        TableCell::Text(text) => text,
    }
}
