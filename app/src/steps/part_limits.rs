//! Parts held against their datasheet limits, the tightest first, now and in the warmest air.

use analysis::board::{DatasheetCriteria, PartPower, PowerOrigin};
use analysis::comparison::in_warmest_air;
use analysis::inspection::{LimitedAt, PartReading, WorstCase};
use analysis::session::Command;
use analysis::uncertainty::expanded;
use analysis::units::{Kelvin, KelvinDifference, TemperatureUnit};
use leptos::prelude::*;

use super::kelvin_fields::TemperatureField;
use super::part_powers::PartPowers;
use crate::store::Store;
use crate::widgets::NumberField;
use crate::wording;

/// A part with a stated limit, and what is left of it in the warmest air where that is stated.
#[derive(Debug, Clone, PartialEq)]
struct Limited {
    part: PartReading,
    worst: Option<WorstCase>,
}

/// The parts with a stated limit.
#[component]
pub fn PartLimits() -> impl IntoView {
    let store = Store::expect();
    let limited = Memo::new(move |_| limited(store));
    let warmest = Memo::new(move |_| store.session().with(|session| session.datasheet.worst_ambient));
    let rows = move || {
        let unit = store.session().with(|session| session.temperature_unit);
        let air = warmest.get();
        let row = |limited| view! { <PartRow limited=limited unit=unit air=air /> };
        limited.get().into_iter().map(row).collect::<Vec<_>>()
    };
    view! {
        <div class="block" hidden=move || limited.with(Vec::is_empty)>
            <h3>"Against the datasheet, the tightest first"</h3>
            <div class="scroll">
                <table class="plain" data-testid="part-limits">
                    <thead>
                        <tr>
                            <th scope="col">"Part"</th>
                            <th scope="col" class="number">"Case, junction"</th>
                            <th scope="col" class="number">"Left to its limit"</th>
                        </tr>
                    </thead>
                    <tbody>{rows}</tbody>
                </table>
            </div>
            <p class="remark">
                "Case: the hottest place of the body as seen. Junction: case and power times the published figure; ≤ where that figure is θ-JC, which counts all heat as leaving by the face that is seen. ± is half of a 95 % interval."
            </p>
            <Assumptions />
            <PartPowers />
        </div>
    }
}

fn limited(store: Store) -> Vec<Limited> {
    let state = store.comparison().get();
    let Some(comparison) = state.latest() else { return Vec::new() };
    store.session().with(|session| {
        let parts = comparison.parts.iter().filter(|part| part.margin.is_some());
        let mut limited: Vec<_> = parts
            .map(|part| Limited { part: part.clone(), worst: in_warmest_air(session, comparison, part) })
            .collect();
        let left = |limited: &Limited| limited.part.margin.map_or(f64::INFINITY, |margin| margin.value());
        limited.sort_by(|a, b| left(a).total_cmp(&left(b)));
        limited
    })
}

/// Half of a 95 % interval.
fn half(standard: KelvinDifference) -> f64 {
    f64::from(expanded(standard.value() as f32))
}

#[component]
fn PartRow(
    /// The part.
    limited: Limited,
    /// The unit to show it in.
    unit: TemperatureUnit,
    /// The warmest air, where it is stated.
    air: Option<Kelvin>,
) -> impl IntoView {
    let Limited { part, worst } = limited;
    let within = |kelvin: Kelvin, uncertainty: KelvinDifference| {
        wording::temperature_within(unit, kelvin.value(), half(uncertainty))
    };
    let case = part.case.map_or_else(String::new, |case| {
        part.case_uncertainty
            .map_or_else(|| wording::temperature(unit, case.value()), |uncertainty| within(case, uncertainty))
    });
    let junction = part.junction.map(|junction| {
        let bound = if junction.is_upper_bound { "≤ " } else { "" };
        let words = junction.standard_uncertainty.map_or_else(
            || wording::temperature(unit, junction.temperature.value()),
            |uncertainty| within(junction.temperature, uncertainty),
        );
        view! { <span class="line">{format!("junction {bound}{words}")}</span> }
    });
    let left = part.margin.map(|margin| margin.value()).unwrap_or_default();
    let in_worst_air = air.zip(worst).map(|(air, worst)| {
        let left = worst.margin.value();
        let over = if left < 0.0 { "over by " } else { "" };
        let within = wording::difference_within(unit, left.abs(), half(worst.standard_uncertainty));
        let within = within.trim_start_matches('+');
        let words = format!("in {}: {over}{within}", wording::temperature(unit, air.value()));
        let keeps = worst.power_that_keeps.map(|[watts, uncertainty]| {
            let half = f64::from(expanded(uncertainty as f32));
            let words = match watts {
                0.0 => "no power keeps it there".to_owned(),
                watts => {
                    format!("kept there up to {} ± {} W", wording::number(watts, 2), wording::number(half, 2))
                }
            };
            view! { <span class="line">{words}</span> }
        });
        view! {
            <span class="line" class:beyond=left < 0.0>
                {words}
            </span>
            {keeps}
        }
    });
    view! {
        <tr>
            <th scope="row">{part.designator} <span class="aside">{part.power.map(|power| power_words(&power))}</span></th>
            <td class="number">{case} {junction}</td>
            <td class="number">
                <span class:beyond=left < 0.0>{left_words(unit, left)}</span>
                <span class="line">{part.margin_at.map(limit_words)}</span>
                {in_worst_air}
            </td>
        </tr>
    }
}

const fn limit_words(at: LimitedAt) -> &'static str {
    match at {
        LimitedAt::Case => "of the case",
        LimitedAt::Junction => "of the junction",
    }
}

fn left_words(unit: TemperatureUnit, left: f64) -> String {
    let size = wording::interval(unit, left);
    if left < 0.0 { format!("over by {size}") } else { size }
}

/// A power and where it is known from.
fn power_words(power: &PartPower) -> String {
    let watts =
        if power.watts.value() == 0.0 { "0".to_owned() } else { wording::number(power.watts.value(), 2) };
    match power.origin {
        PowerOrigin::Stated => format!("{watts} W stated"),
        PowerOrigin::Measured => format!("{watts} W measured"),
        PowerOrigin::StatedAndFound => format!("{watts} W stated and found"),
    }
}

/// What the estimates take for granted.
#[component]
fn Assumptions() -> impl IntoView {
    let store = Store::expect();
    let now = Memo::new(move |_| store.session().with(|session| session.datasheet));
    let set = move |datasheet: DatasheetCriteria| store.dispatch(Command::SetDatasheetCriteria { datasheet });
    let set_air = move |worst_ambient: Option<Kelvin>| {
        set(DatasheetCriteria { worst_ambient, ..now.get_untracked() });
        None
    };
    let share = move |typed: Option<f64>| {
        typed.filter(|typed| (0.0..=100.0).contains(typed)).map(|percent| percent / 100.0)
    };
    let refused = || Some("must be from 0 to 100".to_owned());
    let set_path = move |typed| match share(typed) {
        Some(path_share) => {
            set(DatasheetCriteria { path_share, ..now.get_untracked() });
            None
        }
        None => refused(),
    };
    let set_power = move |typed| match share(typed) {
        Some(power_share) => {
            set(DatasheetCriteria { power_share, ..now.get_untracked() });
            None
        }
        None => refused(),
    };
    view! {
        <div class="fields">
            <TemperatureField
                label="Warmest air it must work in"
                value=Signal::derive(move || now.get().worst_ambient)
                commit=set_air
                hint="not stated"
                testid="worst-ambient"
            />
            <NumberField
                label="u of a published ψ-JT or θ-JC"
                unit="% of it".to_owned()
                value=Signal::derive(move || Some(100.0 * now.get().path_share))
                commit=set_path
                testid="path-share"
            />
            <NumberField
                label="u of a stated or measured power"
                unit="% of it".to_owned()
                value=Signal::derive(move || Some(100.0 * now.get().power_share))
                commit=set_power
            />
        </div>
        <p class="remark" hidden=move || now.get().worst_ambient.is_none()>
            "In warmer air every temperature is taken to rise with it. The power that keeps the limit holds when the whole board's power changes alike; of one part alone, what its neighbours send it stays."
        </p>
    }
}
