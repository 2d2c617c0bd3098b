//! Step 7: the verdict, and the files that go to a colleague.

use analysis::content_hash::ContentHash;
use analysis::inspection::Probe;
use analysis::session::{Command, Outcome, Verdict};
use leptos::prelude::*;

use crate::store::Store;
use crate::widgets::{Choice, TextArea, TextField};
use crate::wording;

const OUTCOMES: [(Outcome, &str); 3] =
    [(Outcome::Pass, "Pass"), (Outcome::Fail, "Fail"), (Outcome::Recheck, "Recheck")];

/// The last step.
#[component]
pub fn HandOverStep() -> impl IntoView {
    view! {
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
        let over =
            comparison.parts.iter().filter(|part| part.margin.is_some_and(|margin| margin.value() < 0.0));
        let judged = |probe: &&Probe| {
            store
                .session()
                .with(|session| session.reading(&probe.key).is_some_and(|reading| reading.verdict.is_some()))
        };
        let (over, open) = (over.count(), comparison.probes.iter().filter(|probe| !judged(probe)).count());
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

#[component]
fn Files() -> impl IntoView {
    let store = Store::expect();
    let nothing = move || store.comparison().with(|state| state.latest().is_none());
    view! {
        <div class="block">
            <h3>"Files"</h3>
            <div class="row">
                <button
                    class="primary"
                    data-testid="save-result"
                    disabled=nothing
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
            </div>
            <p class="remark">
                "The result file is this sheet, filled in, with pictures and captures: anyone reads it in a browser, and dropped on this page it opens the inspection again. A unit that passed may be the next board's known good."
            </p>
        </div>
    }
}
