//! Warming up: since when each place is steady, where it is heading, and how long that takes.

use analysis::sequence::{Stability, WarmUp, rate_of_change, stable_since};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::curves::{Chosen, Curve};
use super::desk::{Desk, Trends};
use super::moment::moment_words;
use super::protocol::Reading;
use crate::store::Store;
use crate::widgets::NumberField;
use crate::wording;

/// As near to the steady state as most readings need, K (common practice, no source).
const NEAR: f64 = 0.5;

/// The fold.
#[component]
pub fn WarmUpPanel() -> impl IntoView {
    let (store, desk, chosen) = (Store::expect(), expect_context::<Desk>(), expect_context::<Chosen>());
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let margin = RwSignal::new(NEAR);
    let shown = Memo::new(move |_| {
        desk.trends.with(|trends| trends.as_ref().map(|trends| chosen.shown(trends)).unwrap_or_default())
    });
    let fit = move |_| {
        let reading = chosen.reading.get_untracked();
        desk.fit_warm_ups(shown.get_untracked().iter().map(|curve| curve.series(reading)).collect());
    };
    let map = move |_| desk.map_warm_up(0, Reading::Mean);
    let busy = move || desk.work.with(Option::is_some) || shown.with(Vec::is_empty);
    view! {
        <details class="panel" data-testid="warm-up">
            <summary>"Warming up"</summary>
            <div class="panel-body">
                <p class="remark">
                    "For the curves shown above, over the marked span. A place is steady once it changes more slowly than you state, for as long as you state."
                </p>
                <EventsWithin />
                <Criterion margin=margin unit=unit />
                <div class="row">
                    <button class="primary" data-testid="fit-warm-ups" disabled=busy on:click=fit>
                        "Fit where they are heading"
                    </button>
                    <button data-testid="map-warm-up" disabled=busy on:click=map>
                        "Map every pixel: steady state and time constant"
                    </button>
                </div>
                <WarmUpTable shown=shown margin=margin unit=unit />
                <p class="remark">
                    "The interval is the fit's: what emissivity and camera are off by comes on top, as the curves' bands show it."
                </p>
            </div>
        </details>
    }
}

/// A fit across an event is none: what happened within the span is named, with the way out.
#[component]
fn EventsWithin() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let within = Memo::new(move |_| {
        let span = desk.span.get();
        let ends = desk.time_of(span.start).zip(desk.time_of(span.end.saturating_sub(1)));
        desk.timeline
            .with(|timeline| {
                let ((from, to), timeline) = ends.zip(timeline.as_ref())?;
                let events = timeline.events().iter().filter(|event| from < event.at_s && event.at_s < to);
                Some(events.map(|event| (event.name.clone(), event.at_s)).collect::<Vec<_>>())
            })
            .unwrap_or_default()
    });
    let words = move || {
        within.with(|within| {
            let named = within.iter().map(|(name, at_s)| format!("“{name}” at {}", moment_words(*at_s)));
            format!(
                "Within the span: {}. A fit across an event is worth nothing: a warm-up runs from one event to the next.",
                named.collect::<Vec<_>>().join(", ")
            )
        })
    };
    let none = move || within.with(Vec::is_empty);
    view! {
        <div class="row" hidden=none data-testid="events-within">
            <p class="caution" role="note">{words}</p>
            <button on:click=move |_| desk.mark_between_events()>"Mark from event to event around this frame"</button>
        </div>
    }
}

/// When a place counts as steady, and what is near enough.
#[component]
fn Criterion(
    /// How near to the steady state is near enough, K.
    margin: RwSignal<f64>,
    /// The unit to show it in.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let desk = expect_context::<Desk>();
    let positive = |typed: Option<f64>| typed.filter(|value| *value > 0.0);
    let refused = || Some("must be above zero".to_owned());
    let one = move || unit.get_untracked().show_difference(1.0);
    let set_rate = move |typed| match positive(typed) {
        Some(rate) => {
            desk.stability.update(|stability| stability.rate_k_per_min = rate / one());
            None
        }
        None => refused(),
    };
    let set_over = move |typed| match positive(typed) {
        Some(over) => {
            desk.stability.update(|stability| stability.over_min = over);
            None
        }
        None => refused(),
    };
    let set_margin = move |typed| match positive(typed) {
        Some(near) => {
            margin.set(near / one());
            None
        }
        None => refused(),
    };
    let shown = move |kelvin: f64| Some(unit.get().show_difference(kelvin));
    view! {
        <div class="fields">
            <NumberField
                label="Steady below"
                unit=Signal::derive(move || format!("{}/min", unit.get().difference_symbol()))
                value=Signal::derive(move || shown(desk.stability.get().rate_k_per_min))
                commit=set_rate
                testid="steady-rate"
            />
            <NumberField
                label="seen over"
                unit="min".to_owned()
                value=Signal::derive(move || Some(desk.stability.get().over_min))
                commit=set_over
                testid="steady-over"
            />
            <NumberField
                label="Near enough to the steady state"
                unit=Signal::derive(move || unit.get().difference_symbol().to_owned())
                value=Signal::derive(move || shown(margin.get()))
                commit=set_margin
                testid="steady-margin"
            />
        </div>
    }
}

#[component]
fn WarmUpTable(
    /// The curves.
    shown: Memo<Vec<Curve>>,
    /// How near to the steady state is near enough, K.
    margin: RwSignal<f64>,
    /// The unit to show it in.
    unit: Memo<TemperatureUnit>,
) -> impl IntoView {
    let (desk, chosen) = (expect_context::<Desk>(), expect_context::<Chosen>());
    let rows = move || {
        let reading = chosen.reading.get();
        let (unit, stability, margin) = (unit.get(), desk.stability.get(), margin.get());
        let span = desk.span.get();
        let row = |curve: Curve| {
            let series = curve.series(reading);
            let standing =
                desk.trends.with(|trends| Some(Standing::of(trends.as_ref()?, series, &span, stability)));
            let fit = desk.fits.with(|fits| fits.get(&series).cloned());
            row(&curve, standing.as_ref(), fit, margin, unit)
        };
        shown.get().into_iter().map(row).collect::<Vec<_>>()
    };
    view! {
        <div class="table-wrap">
            <table class="table" data-testid="warm-up-table">
                <thead>
                    <tr>
                        <th scope="col">"Place"</th>
                        <th scope="col">"At the span's end"</th>
                        <th scope="col">{move || format!("Changes by, over the last {} min", wording::plain(desk.stability.get().over_min))}</th>
                        <th scope="col">"Steady since"</th>
                        <th scope="col">"Heading for (95 % of the fit alone)"</th>
                        <th scope="col">"Near enough in"</th>
                        <th scope="col">"Time constants"</th>
                    </tr>
                </thead>
                <tbody>{rows}</tbody>
            </table>
        </div>
    }
}

/// Where a series stands at the end of a span.
struct Standing {
    end_s: f64,
    last: f64,
    rate_k_per_min: f64,
    steady_since: Option<f64>,
    too_short: bool,
}

impl Standing {
    fn of(
        trends: &Trends,
        (place, reading): (usize, Reading),
        span: &std::ops::Range<usize>,
        stability: Stability,
    ) -> Self {
        let (times, values) = trends.series.of(place, reading, span).unwrap_or_default();
        let (first_s, end_s) =
            (times.first().copied().unwrap_or(f64::NAN), times.last().copied().unwrap_or(f64::NAN));
        let window = stability.over_min * 60.0;
        // The rate at the end is taken over what lies before it, as the criterion does.
        let rates = rate_of_change(&times, &values, window);
        let middle = times.partition_point(|time| *time < end_s - window / 2.0);
        let rate = rates.get(middle).or(rates.last()).copied().unwrap_or(f64::NAN);
        Self {
            end_s,
            last: values.iter().rev().copied().find(|value| value.is_finite()).unwrap_or(f64::NAN),
            rate_k_per_min: rate * 60.0,
            steady_since: stable_since(&times, &values, stability),
            too_short: end_s - first_s < window,
        }
    }
}

fn row(
    curve: &Curve,
    standing: Option<&Standing>,
    fit: Option<Result<WarmUp, String>>,
    margin: f64,
    unit: TemperatureUnit,
) -> AnyView {
    let dash = || "–".to_owned();
    let last = standing.map_or_else(dash, |standing| wording::temperature(unit, standing.last));
    let rate = standing
        .map_or_else(dash, |standing| format!("{}/min", wording::difference(unit, standing.rate_k_per_min)));
    let since = standing.map_or_else(dash, |standing| match standing.steady_since {
        Some(since) => moment_words(since),
        None if standing.too_short => "span too short to tell".to_owned(),
        None => "not yet".to_owned(),
    });
    let (heading, left, constants) = match (fit, standing) {
        (Some(Ok(fit)), Some(standing)) => {
            let [low, high] = fit.steady_interval;
            if !low.is_finite() || !high.is_finite() {
                // Without an end the best value is as good as any other.
                let open = wording::temperature_between(unit, low, high);
                return told_row(curve, [last, rate, since, open, dash(), dash()]);
            }
            let heading = format!(
                "{} ({})",
                wording::temperature(unit, fit.steady),
                wording::temperature_between(unit, low, high)
            );
            let left = fit.time_left(standing.end_s, margin);
            let left = if left > 0.0 { wording::seconds(left) } else { "now".to_owned() };
            let constants = fit.decays.iter().map(|decay| wording::seconds(decay.time_constant_s));
            (heading, left, constants.collect::<Vec<_>>().join(" and "))
        }
        (Some(Err(why)), _) => (why, dash(), dash()),
        _ => (dash(), dash(), dash()),
    };
    told_row(curve, [last, rate, since, heading, left, constants])
}

fn told_row(curve: &Curve, cells: [String; 6]) -> AnyView {
    let cells = cells.map(|cell| view! { <td>{cell}</td> });
    view! {
        <tr>
            <th scope="row">{curve.name.clone()}</th>
            {cells}
        </tr>
    }
    .into_any()
}
