//! Parts held against their datasheet limits, the tightest first.

use analysis::inspection::PartReading;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use crate::store::Store;
use crate::wording;

/// The parts with a stated limit.
#[component]
pub fn PartLimits() -> impl IntoView {
    let store = Store::expect();
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let limited = Memo::new(move |_| {
        let state = store.comparison().get();
        let parts = state.latest().map(|comparison| comparison.parts.clone()).unwrap_or_default();
        let mut limited: Vec<PartReading> = parts.into_iter().filter(|part| part.margin.is_some()).collect();
        let margin = |part: &PartReading| part.margin.map_or(f64::INFINITY, |margin| margin.value());
        limited.sort_by(|a, b| margin(a).total_cmp(&margin(b)));
        limited
    });
    let rows = move || {
        let unit = unit.get();
        limited.get().into_iter().map(|part| view! { <PartRow part=part unit=unit /> }).collect::<Vec<_>>()
    };
    view! {
        <div class="block" hidden=move || limited.with(Vec::is_empty)>
            <h3>"Against the datasheet, the tightest first"</h3>
            <table class="table" data-testid="part-limits">
                <thead>
                    <tr>
                        <th scope="col">"Part"</th>
                        <th scope="col">"Case"</th>
                        <th scope="col">"Junction"</th>
                        <th scope="col">"To its limit"</th>
                    </tr>
                </thead>
                <tbody>{rows}</tbody>
            </table>
            <p class="remark">
                "Case: the hottest place of the body as seen. Junction: an estimate from the stated power and thermal path."
            </p>
        </div>
    }
}

#[component]
fn PartRow(
    /// The part.
    part: PartReading,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let shown =
        |kelvin: Option<f64>| kelvin.map_or_else(|| "–".to_owned(), |k| wording::temperature(unit, k));
    let margin = part.margin.map(|margin| margin.value()).unwrap_or_default();
    let words = if margin < 0.0 {
        format!("over by {}", wording::interval(unit, margin))
    } else {
        wording::interval(unit, margin)
    };
    view! {
        <tr>
            <th scope="row">{part.designator}</th>
            <td>{shown(part.case.map(|kelvin| kelvin.value()))}</td>
            <td>{shown(part.junction.map(|kelvin| kelvin.value()))}</td>
            <td class:over=margin < 0.0>{words}</td>
        </tr>
    }
}
