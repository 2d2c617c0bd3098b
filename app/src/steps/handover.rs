//! Step 7: the verdict, and the files that go to a colleague.

use analysis::comparison::{Suggestion, suggest, suggest_among_twins};
use analysis::content_hash::ContentHash;
use analysis::inspection::Probe;
use analysis::session::{Command, Outcome, Verdict};
use leptos::prelude::*;

use super::probes::probe_list;
use super::standing::result_lacks;
use crate::store::{ComparisonState, Store};
use crate::widgets::{Choice, TextArea, TextField};
use crate::wording;

const OUTCOMES: [(Outcome, &str); 3] =
    [(Outcome::Pass, "Pass"), (Outcome::Fail, "Fail"), (Outcome::Recheck, "Recheck")];

/// The last step.
#[component]
pub fn HandOverStep() -> impl IntoView {
    view! {
        <Suggested />
        <VerdictForm />
        <Files />
    }
}

/// Reason and name are kept here until there is an outcome to go with them.
#[component]
fn VerdictForm() -> impl IntoView {
    let store = Store::expect();
    let verdict = Memo::new(move |_| store.session().with(|session| session.verdict.clone()));
    let (reason, judged_by) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    Effect::new(move || {
        if let Some(verdict) = verdict.get() {
            reason.set(verdict.reason);
            judged_by.set(verdict.judged_by);
        }
    });
    // What was written about one unit is not said of the next; who judges stays.
    let unit =
        Memo::new(move |_| store.session().with(|session| session.unit().map(|unit| unit.hash.clone())));
    Effect::new(move |before: Option<Option<ContentHash>>| {
        let now = unit.get();
        if before.is_some_and(|before| before != now) && verdict.with_untracked(Option::is_none) {
            reason.set(String::new());
        }
        now
    });
    let judge = move |outcome: Option<Outcome>| {
        let outcome = outcome.or_else(|| verdict.with_untracked(|v| v.as_ref().map(|v| v.outcome)));
        if let Some(outcome) = outcome {
            let (reason, judged_by) = (reason.get_untracked(), judged_by.get_untracked());
            store.dispatch(Command::Judge { verdict: Verdict { outcome, reason, judged_by } });
        }
    };
    let outcome = Signal::derive(move || verdict.with(|verdict| verdict.as_ref().map(|v| v.outcome)));
    let open_questions = move || {
        if outcome.get() != Some(Outcome::Pass) {
            return String::new();
        }
        let state = store.comparison().get();
        let Some(comparison) = state.latest() else { return String::new() };
        let session = store.session().get();
        let listed = probe_list(&session, &state, &store.twins()).unwrap_or_default();
        let judged =
            |probe: &&Probe| session.reading(&probe.key).is_some_and(|reading| reading.verdict.is_some());
        let (over, open) =
            (comparison.parts_over_limit().count(), listed.0.iter().filter(|probe| !judged(probe)).count());
        match (over, open) {
            (0, 0) => String::new(),
            _ => format!(
                "A pass with {} over its limit and {} not judged: say why in the reason.",
                wording::count(over, "part"),
                wording::count(open, "measurement")
            ),
        }
    };
    let stamp = move || {
        outcome.get().map(|outcome| {
            let word = wording::outcome(outcome);
            view! { <p class=format!("stamp {word}") data-testid="stamp">{word}</p> }
        })
    };
    view! {
        <div class="block">
            <Choice
                legend="Verdict on the unit"
                testid="verdict"
                options=OUTCOMES.to_vec()
                chosen=outcome
                choose=move |outcome| judge(Some(outcome))
            />
            <div class="fields">
                <TextArea
                    label="Reason"
                    testid="verdict-reason"
                    value=reason
                    commit=move |text| {
                        reason.set(text);
                        judge(None);
                    }
                />
                <TextField
                    label="Judged by"
                    testid="verdict-by"
                    value=judged_by
                    commit=move |text| {
                        judged_by.set(text);
                        judge(None);
                    }
                />
            </div>
            <p class="caution" role="note" hidden=move || open_questions().is_empty()>{open_questions}</p>
            {stamp}
            <div class="row" hidden=move || outcome.get().is_none()>
                <button class="quiet" on:click=move |_| store.dispatch(Command::WithdrawVerdict)>
                    "Withdraw the verdict"
                </button>
            </div>
        </div>
    }
}

/// What the rule says and why. A person judges.
#[component]
fn Suggested() -> impl IntoView {
    let store = Store::expect();
    let suggestion = Memo::new(move |_| {
        let session = store.session().get();
        match store.comparison().get() {
            ComparisonState::Ready(comparison)
                if session.unit().is_some_and(|unit| unit.hash == comparison.unit_capture) =>
            {
                Some(suggest(&session, &comparison))
            }
            ComparisonState::NotReady(_) => {
                suggest_among_twins(&session, store.twins().told_instead(&session)?)
            }
            _ => None,
        }
    });
    let take_over = move |_| {
        let Some(Suggestion { outcome, reasons }) = suggestion.get_untracked() else { return };
        let verdict = Verdict { outcome, reason: reasons.join(" "), judged_by: judge_before(store) };
        store.dispatch(Command::Judge { verdict });
    };
    let body = move || {
        suggestion.get().map(|Suggestion { outcome, reasons }| {
            let reasons = reasons.into_iter().map(|reason| view! { <li>{reason}</li> }).collect::<Vec<_>>();
            view! {
                <h3>"Suggested: " {wording::outcome(outcome)}</h3>
                <ul class="plain">{reasons}</ul>
                <div class="row">
                    <button data-testid="take-suggestion" on:click=take_over>"Take this as my verdict"</button>
                </div>
            }
        })
    };
    view! {
        <div class="block" data-testid="suggestion">
            {body}
            <p class="remark">
                "The rule: fail where a finding stands, a part is over its limit, or a contact reading is beyond what it should be; recheck where contact measurements, a temperature among them, contradict the picture or the capture cannot carry a verdict; else pass. Without a known-good board: fail by contact readings alike, recheck where a part stands out among its like; nothing else can be said. You judge."
            </p>
        </div>
    }
}

/// Who judged last in this session: most likely who judges now.
fn judge_before(store: Store) -> String {
    store.session().with_untracked(|session| {
        let others = session.other_units.iter().rev().filter_map(|notes| notes.verdict.as_ref());
        let verdicts = session.verdict.iter().chain(others);
        verdicts.map(|verdict| verdict.judged_by.clone()).find(|name| !name.is_empty()).unwrap_or_default()
    })
}

#[component]
fn Files() -> impl IntoView {
    let store = Store::expect();
    let nothing = move || store.comparison().with(|state| state.latest().is_none());
    let lacks = Memo::new(move |_| {
        let session = store.session().get();
        store.comparison().with(|state| result_lacks(&session, state, &store.twins()))
    });
    view! {
        <div class="block">
            <h3>"Files"</h3>
            <div class="row">
                <button
                    class="primary"
                    data-testid="save-result"
                    disabled=move || lacks.with(Option::is_some)
                    on:click=move |_| store.save_result()
                >
                    "Save the result file"
                </button>
                <button data-testid="save-findings" disabled=nothing on:click=move |_| store.save_findings_csv()>
                    "Findings as CSV"
                </button>
                <button data-testid="save-maps" disabled=nothing on:click=move |_| store.save_maps()>
                    "Maps"
                </button>
                <button
                    data-testid="save-baseline"
                    disabled=move || store.session().with(|session| session.is_without_good_boards())
                    on:click=move |_| store.save_baseline()
                >
                    "Known-good boards for later"
                </button>
            </div>
            <p class="remark" data-testid="result-lacks" hidden=move || lacks.with(Option::is_none)>
                {lacks}
            </p>
            <p role="status" data-testid="handed-over">{move || store.handed_over().get()}</p>
            <p class="remark">
                "The result file is this sheet, filled in, with pictures and captures: anyone reads it in a browser, and dropped on this page it opens the inspection again. A unit that passed may be the next board's known good. The known-good boards, with surface and placements but without a unit, make a file of their own: drop it here months later, then the units to judge."
            </p>
        </div>
    }
}
