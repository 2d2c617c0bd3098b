//! Parts of one kind on the unit against each other: the check that needs no known-good board.

use analysis::comparison::{
    TwinReport, how_many_stand_out, kind_of_twins, left_open, name_of_standing, standing_out, stands_out,
    who_of_kind,
};
use analysis::inspection::{Criteria, TwinCriteria};
use analysis::population::{TwinGroup, TwinStanding};
use analysis::session::Command;
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use crate::stage::bodies::Bodies;
use crate::stage::look::{Look, Subject};
use crate::store::{Store, TwinState};
use crate::widgets::{Dot, DotStrip, NumberField, Tick};
use crate::wording;

/// Twice the standard uncertainty: where most twins lie.
const BAND: f64 = 2.0;

/// The parts of one kind, and who stands out among them.
#[component]
pub fn Twins() -> impl IntoView {
    let store = Store::expect();
    let alone = Memo::new(move |_| store.session().with(|session| session.is_without_good_boards()));
    let has_unit = Memo::new(move |_| store.session().with(|session| session.unit().is_some()));
    let wanted = Memo::new(move |_| alone.get() || criteria(store).twins.beside_good_boards);
    let choose = move |on: bool| {
        set(store, |twins| TwinCriteria { beside_good_boards: on, ..twins });
    };
    let body = move || {
        let unit = store.session().with(|session| session.temperature_unit);
        match store.twins() {
            TwinState::NotAsked => None,
            TwinState::NotReady(why) => {
                Some(view! { <p class="remark" role="status">{format!("Not yet: {why}.")}</p> }.into_any())
            }
            TwinState::Failed(why) => Some(view! { <p class="remark" role="status">{why}</p> }.into_any()),
            TwinState::Awaited => {
                Some(view! { <p class="remark" role="status">"Being worked out …"</p> }.into_any())
            }
            TwinState::Told(report) => Some(view! { <Told report=(*report).clone() unit=unit /> }.into_any()),
        }
    };
    view! {
        <div class="block" data-testid="twins" hidden=move || !has_unit.get()>
            <h3>"Parts of one kind, against each other"</h3>
            <p class="remark">
                "Each part by how much warmer it is than the board close around it, among those of the same package and value on this board. It needs no known-good board; parts that are alike but work differently stand out as faulty ones do."
            </p>
            <div hidden=alone>
                <Tick
                    label="Do it here beside the known-good boards"
                    on=Signal::derive(move || criteria(store).twins.beside_good_boards)
                    set=choose
                />
            </div>
            <div hidden=move || !wanted.get()>
                <UsualSpread />
            </div>
            {body}
        </div>
    }
}

fn criteria(store: Store) -> Criteria {
    store.session().with(|session| session.criteria)
}

fn set(store: Store, change: impl Fn(TwinCriteria) -> TwinCriteria) {
    let before = untrack(|| criteria(store));
    store.dispatch(Command::SetCriteria { criteria: Criteria { twins: change(before.twins), ..before } });
}

/// What parts of one kind usually differ by.
#[component]
fn UsualSpread() -> impl IntoView {
    let store = Store::expect();
    let commit = move |typed: Option<f64>| match typed.filter(|typed| (0.5..=100.0).contains(typed)) {
        Some(percent) => {
            set(store, |twins| TwinCriteria { usual_share: percent / 100.0, ..twins });
            None
        }
        None => Some("must be from 0.5 to 100".to_owned()),
    };
    view! {
        <div class="fields">
            <NumberField
                label="Healthy ones usually differ by (standard deviation)"
                unit="% of that".to_owned()
                value=Signal::derive(move || Some(100.0 * criteria(store).twins.usual_share))
                commit=commit
                testid="usual-twin-spread"
            />
        </div>
    }
}

/// What was found.
#[component]
fn Told(
    /// The check.
    report: TwinReport,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let store = Store::expect();
    let listed = standing_out(&report);
    let heading = how_many_stand_out(&report);
    let kinds = wording::count(report.check.groups.len(), "kind");
    let found = listed.iter().enumerate().map(|(place, (group, part))| {
        let words = stands_out(group, part, unit);
        view! { <NamedPart place=place part=(*part).clone() group=(*group).clone() words=words unit=unit /> }
    });
    let found = found.collect::<Vec<_>>();
    let rows = report.check.groups.iter().map(|group| view! { <GroupRow group=group.clone() unit=unit /> });
    let rows = rows.collect::<Vec<_>>();
    let open =
        left_open(&report.check).into_iter().map(|words| view! { <li>{words}</li> }).collect::<Vec<_>>();
    view! {
        <p data-testid="twins-heading">
            <strong>{heading}</strong>
        </p>
        <div>{found}</div>
        <details hidden=report.check.groups.is_empty()>
            <summary>{format!("All {kinds}")}</summary>
            <div class="scroll">
                <table class="plain" data-testid="twin-groups">
                    <thead>
                        <tr>
                            <th scope="col">"Kind, each part above the board around it"</th>
                            <th scope="col" class="number">"In the middle"</th>
                            <th scope="col">"Stands out"</th>
                        </tr>
                    </thead>
                    <tbody>{rows}</tbody>
                </table>
            </div>
        </details>
        <div class="row" hidden=report.check.groups.is_empty()>
            <button data-testid="save-twins" on:click=move |_| store.save_twins_csv()>"All of them as CSV"</button>
        </div>
        <details>
            <summary>"What this cannot tell"</summary>
            <ul class="remark" data-testid="twins-open">{open}</ul>
        </details>
    }
}

#[component]
fn NamedPart(
    /// Its place among those named, from 0.
    place: usize,
    /// The part.
    part: TwinStanding,
    /// Its kind.
    group: TwinGroup,
    /// What makes it stand out.
    words: String,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let (look, bodies) = (expect_context::<Look>(), expect_context::<Bodies>());
    let name = name_of_standing(&group, &part);
    let designator = part.designator.clone();
    let go = move |_| {
        if let Some(center) = bodies.center_of(&designator) {
            if look.subject.get_untracked().is_derived() {
                look.subject.set(Subject::Unit);
            }
            look.go_to(center);
        }
    };
    view! {
        <button class="finding" data-testid=format!("twin-{}", place + 1) on:click=go>
            <span class="rank">{place + 1}</span>
            <span class="name">{name}</span>
            <span class="peak">{wording::difference(unit, part.difference.value)}</span>
            <span class="detail">{kind_of_twins(&group)}</span>
            <span class="detail">{words}</span>
        </button>
    }
}

#[component]
fn GroupRow(
    /// The kind.
    group: TwinGroup,
    /// The unit to show it in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let dots = group.parts.iter().map(|part| Dot {
        value: part.step.value,
        title: format!("{} {}", part.designator, wording::difference(unit, part.step.value)),
        marked: part.significant,
    });
    let dots = dots.collect::<Vec<_>>();
    let usual =
        group.parts.iter().map(|part| part.difference.standard_uncertainty).fold(f64::INFINITY, f64::min);
    let names: Vec<_> = group.parts.iter().map(|part| part.designator.as_str()).collect();
    let somebody = group.parts.iter().any(|part| part.significant);
    let stands = who_of_kind(&group, |kelvin| wording::difference(unit, kelvin));
    view! {
        <tr>
            <th scope="row">
                {kind_of_twins(&group)} <span class="aside">{names.join(" ")}</span>
                <DotStrip dots=dots band=(group.center, BAND * usual) />
            </th>
            <td class="number">{wording::difference(unit, group.center)}</td>
            <td class:beyond=somebody>{stands}</td>
        </tr>
    }
}
