//! Fields to write on: print above, a line, the unit behind it.

use leptos::prelude::*;

use super::fresh_id;
use crate::wording;

/// A number with its unit, committed when the person leaves the field or presses Enter.
///
/// `commit` gets `None` for an emptied field and answers with a complaint where the number cannot be taken.
#[component]
pub fn NumberField(
    /// What it is.
    #[prop(into)]
    label: String,
    /// The unit, after the number.
    #[prop(into)]
    unit: Signal<String>,
    /// The number now.
    #[prop(into)]
    value: Signal<Option<f64>>,
    /// Takes the number.
    #[prop(into)]
    commit: Callback<Option<f64>, Option<String>>,
    /// What stands in the empty field.
    #[prop(optional, into)]
    hint: String,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: Option<String>,
) -> impl IntoView {
    let id = fresh_id("number");
    let wrong_id = format!("{id}-wrong");
    let wrong = RwSignal::new(None::<String>);
    let text = move || value.get().map(|number| wording::plain(number).replace('-', "−")).unwrap_or_default();
    let change = move |event| {
        let typed = event_target_value(&event);
        let complaint = if typed.trim().is_empty() {
            commit.run(None)
        } else {
            match wording::read_with_unit(&typed, &unit.get_untracked()) {
                Some(number) => commit.run(Some(number)),
                None => Some(format!("“{typed}” is no number")),
            }
        };
        wrong.set(complaint);
    };
    view! {
        <div class="field" data-wrong=move || wrong.with(Option::is_some).to_string()>
            <label class="label" for=id.clone()>{label}</label>
            <div class="line">
                <input
                    id=id
                    type="text"
                    inputmode="decimal"
                    autocomplete="off"
                    placeholder=hint
                    data-testid=testid
                    aria-invalid=move || wrong.with(Option::is_some).to_string()
                    aria-describedby=wrong_id.clone()
                    prop:value=text
                    on:change=change
                />
                <span class="unit">{move || unit.get()}</span>
            </div>
            <span class="wrong" id=wrong_id role="status">{move || wrong.get()}</span>
        </div>
    }
}

/// A line of text, committed when the person leaves the field or presses Enter.
#[component]
pub fn TextField(
    /// What it is.
    #[prop(into)]
    label: String,
    /// The text now.
    #[prop(into)]
    value: Signal<String>,
    /// Takes the text.
    #[prop(into)]
    commit: Callback<String>,
    /// What stands in the empty field.
    #[prop(optional, into)]
    hint: String,
    /// Over the whole width.
    #[prop(optional)]
    wide: bool,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: Option<String>,
) -> impl IntoView {
    let id = fresh_id("text");
    view! {
        <div class="field" class:wide=wide>
            <label class="label" for=id.clone()>{label}</label>
            <div class="line">
                <input
                    id=id
                    type="text"
                    autocomplete="off"
                    placeholder=hint
                    data-testid=testid
                    prop:value=move || value.get()
                    on:change=move |event| commit.run(event_target_value(&event))
                />
            </div>
        </div>
    }
}

/// Several lines of text.
#[component]
pub fn TextArea(
    /// What it is.
    #[prop(into)]
    label: String,
    /// The text now.
    #[prop(into)]
    value: Signal<String>,
    /// Takes the text.
    #[prop(into)]
    commit: Callback<String>,
    /// What stands in the empty field.
    #[prop(optional, into)]
    hint: String,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: Option<String>,
) -> impl IntoView {
    let id = fresh_id("area");
    view! {
        <div class="field wide">
            <label class="label" for=id.clone()>{label}</label>
            <div class="line">
                <textarea
                    id=id
                    rows="2"
                    placeholder=hint
                    data-testid=testid
                    prop:value=move || value.get()
                    on:change=move |event| commit.run(event_target_value(&event))
                ></textarea>
            </div>
        </div>
    }
}
