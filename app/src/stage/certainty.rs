//! How well the place under the cross-hair is known: what its uncertainty is made of, what would make it
//! smaller, and, on request, the distribution itself.

use analysis::measured_place::{difference_place, unit_place};
use analysis::propagation::Interval;
use analysis::uncertainty::{
    Budget, Drawn, Effort, EffortGain, TemperaturePlace, difference_margins, draw_temperatures, efforts,
    is_skewed, temperature_interval,
};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::draws_chart::DrawsChart;
use super::look::{Look, Plane};
use super::readout::not_just_subtracted;
use super::shown::pixel_at;
use crate::store::{ComparisonState, Store};
use crate::widgets::ShareBar;
use crate::wording;

/// How many times the inputs are drawn: the ends of the interval are then good to about a hundredth of its width.
const DRAWS: usize = 50_000;

/// Ends that are off by less than this share of the interval's width leave it useful.
const LITTLE: f64 = 0.05;

/// What is known of one place.
#[derive(Debug, Clone, PartialEq)]
struct Known {
    place: TemperaturePlace,
    temperature: Budget,
    /// Where ± would be wrong.
    interval: Option<Interval>,
    difference: Option<KnownDifference>,
    efforts: Vec<EffortGain>,
    unit: TemperatureUnit,
}

/// What is known of the difference there.
#[derive(Debug, Clone, PartialEq)]
struct KnownDifference {
    kelvin: f64,
    budget: Budget,
    /// Its ends, K, where ± would be wrong.
    interval: Option<(f64, f64)>,
    /// Why it is not that of the two temperatures, where it is not.
    note: Option<&'static str>,
}

/// The place under the cross-hair, once unit and baseline are compared. Reactive.
fn known(store: Store, look: Look) -> Option<Known> {
    let cursor = look.cursor.get().filter(|cursor| cursor.plane == Plane::Baseline)?;
    let (row, column) = pixel_at(cursor.at)?;
    let session = store.session().get();
    let ComparisonState::Ready(comparison) = store.comparison().get() else { return None };
    let comparison = &*comparison;
    let place = unit_place(&session, comparison, row, column)?;
    let inputs = &session.input_uncertainty;
    Some(Known {
        place,
        temperature: place.budget(inputs).ok()?,
        interval: is_skewed(place.emissivity.value(), place.emissivity_uncertainty)
            .then(|| temperature_interval(&place, inputs).ok())
            .flatten(),
        difference: difference_place(&session, comparison, row, column).and_then(|place| {
            let kelvin = f64::from(comparison.difference.at(row, column)?);
            let skewed = is_skewed(place.unit.emissivity.value(), place.unit.emissivity_uncertainty);
            let margins = skewed.then(|| difference_margins(&place, inputs).ok()).flatten();
            Some(KnownDifference {
                kelvin,
                budget: place.budget(inputs).ok()?,
                interval: margins.map(|margins| (kelvin + margins.low, kelvin + margins.high)),
                note: not_just_subtracted(&session, comparison),
            })
        }),
        efforts: efforts(&place, inputs).unwrap_or_default(),
        unit: session.temperature_unit,
    })
}

/// The panel under the read-outs.
#[component]
pub fn CertaintyPanel() -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let open = RwSignal::new(false);
    let known = Memo::new(move |_| open.get().then(|| known(store, look)).flatten());
    let toggle = move |event: leptos::ev::Event| {
        let details: web_sys::Element = event_target(&event);
        open.set(details.has_attribute("open"));
    };
    let body = move || known.get().map(|known| view! { <KnownPlace known=known /> });
    view! {
        <details class="certainty" data-testid="certainty" on:toggle=toggle>
            <summary>"How well is this known? " <span class="remark">"± and intervals are 95 %, k = 1.96; hatched: not measurable"</span></summary>
            <p class="remark" hidden=move || known.with(Option::is_some)>
                "Click a place of the compared pictures: its uncertainty is taken apart here."
            </p>
            {body}
        </details>
    }
}

#[component]
fn KnownPlace(
    /// What is known of the place.
    known: Known,
) -> impl IntoView {
    let unit = known.unit;
    let skewed = is_skewed(known.place.emissivity.value(), known.place.emissivity_uncertainty);
    let temperature = match known.interval {
        Some(Interval { low, high }) => format!("{} (95 %)", wording::temperature_between(unit, low, high)),
        None => {
            let budget = &known.temperature;
            let within =
                wording::temperature_within(unit, known.place.temperature.value(), budget.expanded());
            format!("{within} (95 %, k = {:.2})", budget.coverage_factor)
        }
    };
    let difference = known.difference.map(|KnownDifference { kelvin, budget, interval, note }| {
        let value = match interval {
            Some((low, high)) => format!("{} (95 %)", wording::difference_between(unit, low, high)),
            None => {
                let within = wording::difference_within(unit, kelvin, budget.expanded());
                format!("{within} (95 %, k = {:.2})", budget.coverage_factor)
            }
        };
        let note = note.unwrap_or_default();
        view! { <BudgetTable title="Difference from the baseline" value=value note=note budget=budget unit=unit /> }
    });
    let gains = known.efforts.clone();
    let now = known.temperature.combined.value();
    let none = gains.is_empty();
    let (middle, half) = (known.place.temperature.value(), known.temperature.expanded());
    let stated = (middle - half, middle + half);
    let gains: Vec<_> = gains
        .into_iter()
        .map(|gain| {
            let after = wording::interval(unit, known.temperature.coverage_factor * gain.combined);
            let share = wording::percent(gain.combined / now);
            view! { <li>{format!("{}: ± {after}, {share} of now", effort_words(gain.effort))}</li> }
        })
        .collect();
    view! {
        <div class="certainty-body">
            <BudgetTable title="Temperature of the unit" value=temperature budget=known.temperature unit=unit />
            {difference}
            <div>
                <h4>"What would make the temperature better known"</h4>
                <ul class="efforts">{gains}</ul>
                <p class="remark" hidden=!none>"No single effort brings more than a tenth."</p>
                <p class="remark" hidden=!skewed>
                    "The emissivity here is known to no better than a tenth of itself, so the temperature's distribution leans to one side: an interval is given instead of ±."
                </p>
                <Draws place=known.place stated=stated unit=unit />
            </div>
        </div>
    }
}

/// A budget as a table with a bar for each contribution.
#[component]
fn BudgetTable(
    /// Of what.
    title: &'static str,
    /// Its value with what is stated of it.
    value: String,
    /// What a person must know not to misread it.
    #[prop(optional)]
    note: &'static str,
    /// What its uncertainty is made of.
    budget: Budget,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let rows: Vec<_> = budget
        .contributions
        .iter()
        .map(|part| {
            let share = budget.share(part);
            let left = if part.cancels { ", what does not cancel" } else { "" };
            view! {
                <tr>
                    <th scope="row">{format!("{}{left}", part.input.name())}</th>
                    <td>{wording::interval(unit, part.kelvin)}</td>
                    <td>
                        <ShareBar share=share />
                    </td>
                </tr>
            }
        })
        .collect();
    view! {
        <table class="table budget">
            <caption>
                {format!("{title}: {value}")} <span class="remark" hidden=note.is_empty()>{note}</span>
            </caption>
            <thead>
                <tr>
                    <th scope="col">"From"</th>
                    <th scope="col">"Standard uncertainty"</th>
                    <th scope="col">"Share of the variance"</th>
                </tr>
            </thead>
            <tbody>{rows}</tbody>
        </table>
    }
}

/// The distribution by drawing the inputs, when it is asked for.
#[component]
fn Draws(
    /// The place.
    place: TemperaturePlace,
    /// The ends of its first-order interval, K.
    stated: (f64, f64),
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let store = Store::expect();
    let drawn = RwSignal::new(None::<Result<Drawn, String>>);
    let draw = move |_| {
        let inputs = store.session().with_untracked(|session| session.input_uncertainty.clone());
        // One seed for everybody: the same place gives the same figures again.
        drawn.set(Some(draw_temperatures(&place, &inputs, DRAWS, 1).map_err(|error| error.to_string())));
    };
    let words = move || {
        drawn.get().map(|drawn| match drawn {
            Err(error) => error,
            Ok(drawn) => {
                let off = [drawn.interval.low - stated.0, drawn.interval.high - stated.1];
                let off = off.into_iter().map(f64::abs).fold(0.0, f64::max);
                let holds = if drawn.first_order_holds {
                    "The interval above is confirmed.".to_owned()
                } else if off < LITTLE * (stated.1 - stated.0) {
                    format!("The interval above is off by about {}.", wording::interval(unit, off))
                } else {
                    "Trust this interval rather than the one above.".to_owned()
                };
                format!(
                    "{DRAWS} draws of the inputs: 95 % lie from {} to {}. {holds}",
                    wording::temperature(unit, drawn.interval.low),
                    wording::temperature(unit, drawn.interval.high),
                )
            }
        })
    };
    let chart =
        move || drawn.get().and_then(Result::ok).map(|drawn| view! { <DrawsChart drawn=drawn unit=unit /> });
    view! {
        <div class="row">
            <button data-testid="draw-inputs" on:click=draw>"Check by Monte Carlo"</button>
        </div>
        <p role="status" data-testid="drawn">{words}</p>
        {chart}
    }
}

/// An effort as something to do.
fn effort_words(effort: Effort) -> String {
    match effort {
        Effort::TreatSurface => "treat the surface (emissivity 0.95 ± 0.01)".to_owned(),
        Effort::MeasureReflected => "measure the reflected temperature to 0.3 K".to_owned(),
        Effort::MeasureEmissivity => "measure the emissivity of the place to ± 0.01".to_owned(),
        Effort::AverageFrames(frames) => format!("average {frames} frames"),
        Effort::CheckCamera => "check the camera against a known temperature to 0.3 K".to_owned(),
        Effort::WarmMore => "let it rise twice as far (against the rise)".to_owned(),
    }
}
