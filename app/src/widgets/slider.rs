//! A slider whose whole drag is one step of the undo history.

use leptos::prelude::*;

use super::fresh_id;
use crate::wording;

/// A number pulled along a line; every movement is taken at once.
#[component]
pub fn Slider(
    /// What it is, with its unit.
    #[prop(into)]
    label: String,
    /// Least, greatest, and the step between.
    range: [f64; 3],
    /// The number now.
    #[prop(into)]
    value: Signal<f64>,
    /// Takes the number.
    #[prop(into)]
    slide: Callback<f64>,
    /// A drag begins.
    #[prop(into)]
    begin: Callback<()>,
    /// A drag ends.
    #[prop(into)]
    end: Callback<()>,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: Option<String>,
) -> impl IntoView {
    let id = fresh_id("slider");
    let [least, greatest, step] = range;
    let input = move |event| {
        if let Some(number) = wording::read_number(&event_target_value(&event)) {
            slide.run(number);
        }
    };
    view! {
        <div class="field wide">
            <label class="label" for=id.clone()>{label}</label>
            <input
                id=id
                type="range"
                min=wording::plain(least)
                max=wording::plain(greatest)
                step=wording::plain(step)
                data-testid=testid
                prop:value=move || wording::plain(value.get())
                on:pointerdown=move |_| begin.run(())
                on:input=input
                on:change=move |_| end.run(())
            />
        </div>
    }
}
