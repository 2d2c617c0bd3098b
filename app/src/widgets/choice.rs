//! One of a few, one of many, and yes or no.

use leptos::prelude::*;

use super::fresh_id;

/// One of a few things, all in sight.
#[component]
pub fn Choice<T>(
    /// What is chosen; read out, and printed unless `quiet`.
    #[prop(into)]
    legend: String,
    /// The things with their names.
    options: Vec<(T, &'static str)>,
    /// The one chosen now.
    #[prop(into)]
    chosen: Signal<Option<T>>,
    /// Takes the choice.
    #[prop(into)]
    choose: Callback<T>,
    /// Whether the legend is only read out.
    #[prop(optional)]
    quiet: bool,
    /// One below the other.
    #[prop(optional)]
    stacked: bool,
    /// Stable name for the browser tests; the options are numbered behind it.
    #[prop(optional, into)]
    testid: Option<String>,
) -> impl IntoView
where
    T: Copy + PartialEq + Send + Sync + 'static,
{
    let group = fresh_id("choice");
    let buttons: Vec<_> = options
        .into_iter()
        .enumerate()
        .map(|(place, (option, name))| {
            let testid = testid.as_ref().map(|testid| format!("{testid}-{place}"));
            view! {
                <label>
                    <input
                        type="radio"
                        name=group.clone()
                        data-testid=testid
                        prop:checked=move || chosen.get() == Some(option)
                        on:change=move |_| choose.run(option)
                    />
                    {name}
                </label>
            }
        })
        .collect();
    view! {
        <fieldset>
            <legend class:unseen=quiet>{legend}</legend>
            <div class="choice" class:stacked=stacked>{buttons}</div>
        </fieldset>
    }
}

/// One of many, in a list that opens. Options are known by their place.
#[component]
pub fn Picker(
    /// What is chosen.
    #[prop(into)]
    label: String,
    /// Their names.
    #[prop(into)]
    options: Signal<Vec<String>>,
    /// The place of the one chosen now; `None` when it is none of them.
    #[prop(into)]
    chosen: Signal<Option<usize>>,
    /// Takes the place of the choice.
    #[prop(into)]
    choose: Callback<usize>,
    /// What stands there when none is chosen.
    #[prop(optional, into)]
    hint: String,
    /// Whether the label is only read out.
    #[prop(optional)]
    quiet: bool,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: Option<String>,
) -> impl IntoView {
    let id = fresh_id("picker");
    let change = move |event| {
        if let Ok(place) = event_target_value(&event).parse() {
            choose.run(place);
        }
    };
    let items = move || {
        let picked = chosen.get();
        let options = options.get();
        let none = picked.is_none_or(|place| place >= options.len());
        let hint = none.then(|| {
            view! {
                <option value="" selected=true disabled=true>
                    {hint.clone()}
                </option>
            }
        });
        let options: Vec<_> = options
            .into_iter()
            .enumerate()
            .map(|(place, name)| {
                view! {
                    <option value=place.to_string() prop:selected=picked == Some(place)>
                        {name}
                    </option>
                }
            })
            .collect();
        (hint, options)
    };
    view! {
        <div class="field">
            <label class="label" class:unseen=quiet for=id.clone()>{label}</label>
            <div class="line">
                <select id=id data-testid=testid on:change=change>{items}</select>
            </div>
        </div>
    }
}

/// Yes or no.
#[component]
pub fn Tick(
    /// What is so or not.
    #[prop(into)]
    label: String,
    /// Whether it is so now.
    #[prop(into)]
    on: Signal<bool>,
    /// Takes the answer.
    #[prop(into)]
    set: Callback<bool>,
) -> impl IntoView {
    view! {
        <label class="tick">
            <input
                type="checkbox"
                prop:checked=move || on.get()
                on:change=move |event| set.run(event_target_checked(&event))
            />
            {label}
        </label>
    }
}
