//! What parts of the unit turn into heat, as measured: a junction estimate stands on it.

use analysis::board::PowerReading;
use analysis::inspection::{ProbeKey, ProbeQuantity, read_contact, write_contact};
use analysis::session::Command;
use analysis::units::Watts;
use leptos::prelude::*;

use crate::store::Store;
use crate::widgets::{Icon, NumberField, Picker, Sign};
use crate::wording;

/// The powers entered, and the way to enter one.
#[component]
pub fn PartPowers() -> impl IntoView {
    let store = Store::expect();
    let entered = Memo::new(move |_| store.session().with(|session| session.part_powers.clone()));
    let parts = Memo::new(move |_| {
        store.session().with(|session| {
            session.layout.limits.iter().map(|limit| limit.designator.clone()).collect::<Vec<_>>()
        })
    });
    let chosen = RwSignal::new(None::<String>);
    let place = Signal::derive(move || {
        let chosen = chosen.get()?;
        parts.with(|parts| parts.iter().position(|part| *part == chosen))
    });
    let choose = move |place: usize| chosen.set(parts.with_untracked(|parts| parts.get(place).cloned()));
    let items = move || {
        let item = |(designator, reading): (String, PowerReading)| {
            let remove = {
                let designator = designator.clone();
                move |_| {
                    let designator = designator.clone();
                    store.dispatch(Command::MeasurePartPower { designator, power: None });
                }
            };
            view! {
                <li>
                    <span>{format!("{designator}: {}", in_words(&reading))}</span>
                    <button class="quiet" aria-label=format!("Take away the power of {designator}") on:click=remove>
                        <Icon sign=Sign::Remove />
                    </button>
                </li>
            }
        };
        entered.get().into_iter().map(item).collect::<Vec<_>>()
    };
    let on_bench =
        Memo::new(move |_| store.session().with(|session| session.unit().map(|unit| unit.hash.clone())));
    let form = move || {
        // Another unit gets a form of its own: half of a product is not carried over to it.
        on_bench.track();
        chosen.get().map(|designator| view! { <PowerForm designator=designator /> })
    };
    view! {
        <details data-testid="part-powers">
            <summary>
                {move || match entered.with(Vec::len) {
                    0 => "Enter a power measured on this unit".to_owned(),
                    powers => format!("{} measured on this unit", wording::count(powers, "power")),
                }}
            </summary>
            <p class="remark">
                "It counts instead of the limits table's. Where nothing is entered, the change of heat that a finding showed is added to the table's power."
            </p>
            <ul class="items">{items}</ul>
            <div class="fields">
                <Picker
                    label="Part"
                    options=parts
                    chosen=place
                    choose=choose
                    hint="choose a part"
                    testid="power-part"
                />
            </div>
            {form}
        </details>
    }
}

fn in_words(reading: &PowerReading) -> String {
    match *reading {
        PowerReading::Power { watts } => format!("{} W", wording::number(watts.value(), 3)),
        PowerReading::VoltageTimesCurrent { volts, amperes } => format!(
            "{} V × {} A = {} W",
            wording::plain(volts),
            wording::plain(amperes),
            wording::number(volts * amperes, 3)
        ),
    }
}

/// The power of one part: as such, or by voltage and current.
#[component]
fn PowerForm(
    /// Which part.
    designator: String,
) -> impl IntoView {
    let store = Store::expect();
    let part = StoredValue::new(designator);
    let now = Memo::new(move |_| {
        store.session().with(|session| {
            session
                .part_powers
                .iter()
                .find(|(known, _)| part.with_value(|part| part == known))
                .map(|(_, r)| *r)
        })
    });
    // Half of a product waits here for its other half.
    let (volts, amperes) = (RwSignal::new(None::<f64>), RwSignal::new(None::<f64>));
    Effect::new(move || {
        let (v, a) = match now.get() {
            Some(PowerReading::VoltageTimesCurrent { volts, amperes }) => (Some(volts), Some(amperes)),
            Some(PowerReading::Power { .. }) | None => (None, None),
        };
        volts.set(v);
        amperes.set(a);
    });
    let enter = move |power: Option<PowerReading>| {
        if let Some(Err(error)) = power.map(PowerReading::watts) {
            return Some(error.to_string());
        }
        store.dispatch(Command::MeasurePartPower { designator: part.get_value(), power });
        None
    };
    let set_watts = move |typed: Option<f64>| match typed.map(Watts::new) {
        None => enter(None),
        Some(Ok(watts)) => enter(Some(PowerReading::Power { watts })),
        Some(Err(error)) => Some(error.to_string()),
    };
    let product = move || match (volts.get_untracked(), amperes.get_untracked(), now.get_untracked()) {
        (Some(volts), Some(amperes), _) => enter(Some(PowerReading::VoltageTimesCurrent { volts, amperes })),
        // Half of what was entered is taken away, and with it the product.
        (_, _, Some(PowerReading::VoltageTimesCurrent { .. })) => enter(None),
        _ => None,
    };
    let set_volts = move |typed: Option<f64>| {
        volts.set(typed);
        product()
    };
    let set_amperes = move |typed: Option<f64>| {
        amperes.set(typed);
        product()
    };
    let probed = Memo::new(move |_| part.with_value(|part| probed_product(store, part)));
    let take = move |_| {
        let _ = enter(probed.get_untracked());
    };
    let offer = move || {
        let PowerReading::VoltageTimesCurrent { volts, amperes } = probed.get()? else { return None };
        let unit = store.session().with(|session| session.temperature_unit);
        let words = format!(
            "Take {} × {} from its probes",
            write_contact(ProbeQuantity::Voltage, volts, unit),
            write_contact(ProbeQuantity::Current, amperes, unit)
        );
        Some(view! { <button on:click=take>{words}</button> })
    };
    let watts = move || match now.get() {
        Some(PowerReading::Power { watts }) => Some(watts.value()),
        _ => None,
    };
    view! {
        <div class="fields">
            <NumberField label="Power" unit="W".to_owned() value=Signal::derive(watts) commit=set_watts testid="power-watts" />
            <NumberField label="or voltage across it" unit="V".to_owned() value=volts commit=set_volts testid="power-volts" />
            <NumberField label="and current through it" unit="A".to_owned() value=amperes commit=set_amperes testid="power-amperes" />
        </div>
        <div class="row">{offer}</div>
        <p class="remark">
            "Voltage times current counts what the part passes on to a load as its own heat: for a regulator or a switch enter what it keeps."
        </p>
    }
}

/// Voltage and current as probed at a part, where both were read as numbers.
fn probed_product(store: Store, part: &str) -> Option<PowerReading> {
    store.session().with(|session| {
        let read = |quantity| {
            let reading = session.reading(&ProbeKey { target: part.to_owned(), quantity })?;
            read_contact(quantity, &reading.read, session.temperature_unit).map(|read| read.value)
        };
        let (volts, amperes) = (read(ProbeQuantity::Voltage)?, read(ProbeQuantity::Current)?);
        let product = PowerReading::VoltageTimesCurrent { volts, amperes };
        product.watts().ok().map(|_| product)
    })
}
