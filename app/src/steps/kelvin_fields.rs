//! Fields for temperatures and their differences, in the unit that the session shows.

use analysis::units::{Kelvin, KelvinDifference};
use leptos::prelude::*;

use crate::store::Store;
use crate::widgets::NumberField;

/// A temperature.
#[component]
pub fn TemperatureField(
    /// What it is.
    #[prop(into)]
    label: String,
    /// The temperature now.
    #[prop(into)]
    value: Signal<Option<Kelvin>>,
    /// Takes it; `None` for an emptied field. Answers with a complaint where it cannot be taken.
    #[prop(into)]
    commit: Callback<Option<Kelvin>, Option<String>>,
    /// What stands in the empty field.
    #[prop(optional, into)]
    hint: String,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: String,
) -> impl IntoView {
    let store = Store::expect();
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let take =
        move |typed: Option<f64>| match typed.map(|typed| Kelvin::new(unit.get_untracked().read(typed))) {
            None => commit.run(None),
            Some(Ok(kelvin)) => commit.run(Some(kelvin)),
            Some(Err(error)) => Some(error.to_string()),
        };
    view! {
        <NumberField
            label=label
            unit=Signal::derive(move || unit.get().symbol().to_owned())
            value=Signal::derive(move || value.get().map(|kelvin| unit.get().show(kelvin.value())))
            commit=take
            hint=hint
            testid=testid
        />
    }
}

/// The size of a temperature difference: a limit, or an uncertainty; zero or more.
#[component]
pub fn IntervalField(
    /// What it is.
    #[prop(into)]
    label: String,
    /// The difference now.
    #[prop(into)]
    value: Signal<Option<KelvinDifference>>,
    /// Takes it; `None` for an emptied field. Answers with a complaint where it cannot be taken.
    #[prop(into)]
    commit: Callback<Option<KelvinDifference>, Option<String>>,
    /// What stands in the empty field.
    #[prop(optional, into)]
    hint: String,
    /// Stable name for the browser tests.
    #[prop(optional, into)]
    testid: String,
) -> impl IntoView {
    let store = Store::expect();
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let take = move |typed: Option<f64>| match typed {
        None => commit.run(None),
        Some(typed) if typed < 0.0 => Some("must be 0 or more".to_owned()),
        // A difference has no offset, so it is read as one unit's share of a kelvin.
        Some(typed) => match KelvinDifference::new(typed / unit.get_untracked().show_difference(1.0)) {
            Ok(difference) => commit.run(Some(difference)),
            Err(error) => Some(error.to_string()),
        },
    };
    let shown = move || value.get().map(|difference| unit.get().show_difference(difference.value()));
    view! {
        <NumberField
            label=label
            unit=Signal::derive(move || unit.get().difference_symbol().to_owned())
            value=Signal::derive(shown)
            commit=take
            hint=hint
            testid=testid
        />
    }
}

/// A difference that a form starts from: one of this page's own constants.
pub fn kelvins(value: f64) -> KelvinDifference {
    KelvinDifference::new(value).unwrap_or(KelvinDifference::ZERO)
}

/// A commitment that needs a value.
pub fn needed<T>(take: impl Fn(T) + Send + Sync + 'static) -> impl Fn(Option<T>) -> Option<String> {
    move |value| match value {
        Some(value) => {
            take(value);
            None
        }
        None => Some("is needed".to_owned()),
    }
}
