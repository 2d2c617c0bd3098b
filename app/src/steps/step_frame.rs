//! The frame of a step: its number, its heading, its one-line answer, and what it holds when open.

use leptos::html::Li;
use leptos::prelude::*;

use super::standing::Standing;
use super::{OpenStep, Step, body};

/// One step of the sheet.
#[component]
pub fn StepFrame(
    /// Which.
    step: Step,
    /// How far it is.
    standing: Signal<Standing>,
    /// The step to do next.
    next: Memo<Option<Step>>,
) -> impl IntoView {
    let OpenStep(open) = expect_context();
    let is_open = Memo::new(move |_| open.get() == Some(step));
    let frame = NodeRef::<Li>::new();
    Effect::new(move |was_open: Option<bool>| {
        let now = is_open.get();
        if let (Some(frame), true, Some(false)) = (frame.get_untracked(), now, was_open) {
            // The step that closes above moves this one first.
            request_animation_frame(move || frame.scroll_into_view());
        }
        now
    });
    let body_id = format!("step-{}-body", step.number());
    let toggle = move |_| open.update(|open| *open = if *open == Some(step) { None } else { Some(step) });
    let answer_class = move || match standing.get() {
        Standing::Lacks(_) | Standing::Assumed(_) => "answer lacking".to_owned(),
        Standing::Filled { tone, .. } => format!("answer {tone}"),
    };
    let answer = move || match standing.get() {
        Standing::Lacks(what) | Standing::Assumed(what) => what,
        Standing::Filled { answer, .. } => answer,
    };
    let kind = move || match standing.get() {
        Standing::Filled { .. } => "filled",
        Standing::Assumed(_) => "assumed",
        Standing::Lacks(_) => "lacks",
    };
    view! {
        <li
            class="step"
            node_ref=frame
            data-testid=format!("step-{}", step.number())
            data-standing=kind
            data-next=move || (next.get() == Some(step)).to_string()
        >
            <div class="number" aria-hidden="true">{step.number()}</div>
            <h2>
                <button
                    aria-expanded=move || is_open.get().to_string()
                    aria-controls=body_id.clone()
                    data-testid=format!("step-{}-heading", step.number())
                    on:click=toggle
                >
                    <span><span class="unseen">{format!("Step {}: ", step.number())}</span>{step.title()}</span>
                    <span class="turn" aria-hidden="true"></span>
                    <span class=answer_class data-testid=format!("step-{}-answer", step.number())>{answer}</span>
                </button>
            </h2>
            <div class="body" id=body_id hidden=move || !is_open.get()>
                <Show when=move || is_open.get()>
                    {body(step)} <Onward step=step standing=standing />
                </Show>
            </div>
        </li>
    }
}

/// The way to the next step.
#[component]
fn Onward(
    /// The step that is left.
    step: Step,
    /// How far it is.
    standing: Signal<Standing>,
) -> impl IntoView {
    let OpenStep(open) = expect_context();
    step.following().map(|following| {
        view! {
            <div class="onward">
                <button
                    class:primary=move || !matches!(standing.get(), Standing::Lacks(_))
                    data-testid=format!("onward-{}", step.number())
                    on:click=move |_| open.set(Some(following))
                >
                    {format!("Go on to {} {}", following.number(), following.title())}
                </button>
            </div>
        }
    })
}
