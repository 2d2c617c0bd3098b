//! By which rule a difference counts, and the rule's numbers.

use analysis::comparison::JudgedBy;
use analysis::inspection::{Basis, Criteria, Rule};
use analysis::session::Command;
use leptos::prelude::*;

use super::kelvin_fields::{IntervalField, needed};
use crate::store::Store;
use crate::widgets::{Choice, NumberField};

const RULES: [(Rule, &str); 2] = [
    (Rule::GoodBoardsSpread, "More than another good board would show"),
    (Rule::Limit, "More than a limit that I state"),
];

const BASES: [(Basis, &str); 3] = [
    (Basis::RiseAboveAmbient, "Rise above each capture's ambient"),
    (Basis::RiseAtEqualPower, "Rise above ambient, at equal power"),
    (Basis::Absolute, "Surface temperatures as they are"),
];

/// The rule and its numbers. What the other rule asks is not shown.
#[component]
pub fn CriteriaForm() -> impl IntoView {
    let store = Store::expect();
    let criteria = Memo::new(move |_| store.session().with(|session| session.criteria));
    let set = move |criteria: Criteria| store.dispatch(Command::SetCriteria { criteria });
    let set_limit = needed(move |limit| set(Criteria { limit, ..criteria.get_untracked() }));
    let set_multiple = move |typed: Option<f64>| match typed.filter(|typed| (0.0..=100.0).contains(typed)) {
        Some(noise_multiple) => {
            set(Criteria { noise_multiple, ..criteria.get_untracked() });
            None
        }
        None => Some("must be from 0 to 100".to_owned()),
    };
    let set_rate = move |typed: Option<f64>| match typed.filter(|typed| (0.1..=50.0).contains(typed)) {
        Some(false_alarms_per_hundred) => {
            set(Criteria { false_alarms_per_hundred, ..criteria.get_untracked() });
            None
        }
        None => Some("must be from 0.1 to 50".to_owned()),
    };
    let set_least =
        needed(move |least_difference| set(Criteria { least_difference, ..criteria.get_untracked() }));
    // With fewer good boards than their spread needs, the limit decides whatever is chosen.
    let stands_in = Memo::new(move |_| {
        let state = store.comparison().get();
        match state.latest().map(|comparison| comparison.judged_by.clone()) {
            Some(JudgedBy::Limit { why }) if criteria.get().rule == Rule::GoodBoardsSpread => Some(why),
            _ => None,
        }
    });
    let by_limit = move || criteria.get().rule == Rule::Limit || stands_in.get().is_some();
    let set_area = move |typed: Option<f64>| match typed.filter(|typed| (1.0..=1e6).contains(typed)) {
        Some(pixels) => {
            set(Criteria { least_area_px: pixels.round() as u32, ..criteria.get_untracked() });
            None
        }
        None => Some("must be at least 1".to_owned()),
    };
    view! {
        <div class="block">
            <Choice
                legend="What counts as different"
                stacked=true
                testid="rule"
                options=RULES.to_vec()
                chosen=Signal::derive(move || Some(criteria.get().rule))
                choose=move |rule| set(Criteria { rule, ..criteria.get_untracked() })
            />
            <p class="remark" hidden=move || stands_in.get().is_none() data-testid="limit-stands-in">
                {move || stands_in.get().map(|why| format!("Not yet: {why}. Until then the limit below decides."))}
            </p>
            <div class="fields" hidden=by_limit>
                <NumberField
                    label="False alarms allowed"
                    unit="of 100 good boards".to_owned()
                    value=Signal::derive(move || Some(criteria.get().false_alarms_per_hundred))
                    commit=set_rate
                    testid="false-alarms"
                />
                <IntervalField
                    label="Of no interest below"
                    value=Signal::derive(move || Some(criteria.get().least_difference))
                    commit=set_least
                    testid="least-difference"
                />
            </div>
            <div hidden=move || !by_limit()>
                <Choice
                    legend="What is subtracted"
                    stacked=true
                    testid="basis"
                    options=BASES.to_vec()
                    chosen=Signal::derive(move || Some(criteria.get().basis))
                    choose=move |basis| set(Criteria { basis, ..criteria.get_untracked() })
                />
                <div class="fields">
                    <IntervalField
                        label="Least difference that counts"
                        value=Signal::derive(move || Some(criteria.get().limit))
                        commit=set_limit
                        testid="limit"
                    />
                    <NumberField
                        label="and beyond noise and spread by"
                        unit="times".to_owned()
                        value=Signal::derive(move || Some(criteria.get().noise_multiple))
                        commit=set_multiple
                        testid="noise-multiple"
                    />
                    <NumberField
                        label="Smallest area"
                        unit="pixels".to_owned()
                        value=Signal::derive(move || Some(f64::from(criteria.get().least_area_px)))
                        commit=set_area
                    />
                </div>
            </div>
        </div>
    }
}
