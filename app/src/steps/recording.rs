//! The open recording in the list of captures: what it is, and what its numbers mean.

use analysis::content_hash::ContentHash;
use leptos::prelude::*;

use super::quantity_form::QuantityForm;
use crate::store::Question;
use crate::time::desk::{Desk, Opened};
use crate::widgets::{Icon, Sign};
use crate::wording;

/// The recording, if one is open.
#[component]
pub(super) fn RecordingItem() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let asked_again = RwSignal::new(false);
    let answered = move || desk.metadata.with(|metadata| metadata.quantity.is_some());
    // Asked of one recording, not of the next.
    let recording =
        Memo::new(move |_| desk.opened.with(|opened| opened.as_ref().map(|o| o.recording.clone())));
    Effect::new(move || {
        recording.track();
        asked_again.set(false);
    });
    let item = move || {
        desk.opened.get().map(|opened| {
            let invented = desk.metadata.with_untracked(|metadata| metadata.invented);
            let known = words(&opened);
            let name = opened.recording.name.clone();
            view! {
                <ul class="items">
                    <li data-testid="recording">
                        <span class="name">{name.clone()}</span>
                        <button
                            class="quiet"
                            title="Close this recording"
                            aria-label=format!("Close {name}")
                            data-testid="close-recording"
                            on:click=move |_| desk.close()
                        >
                            <Icon sign=Sign::Remove />
                        </button>
                        <p class="remark below">
                            {known} <span hidden=!invented>" · invented: shows no real board"</span>
                        </p>
                        <p class="remark below">
                            "Looked at below the picture. Its frames stay in their file; what you say of it, mark in it and pull out of it is kept."
                            <button
                                class="quiet"
                                data-testid="change-recording-quantity"
                                hidden=move || !answered() || asked_again.get()
                                title="Say anew what the numbers of this recording mean"
                                on:click=move |_| asked_again.set(true)
                            >
                                "Change the meaning of its numbers"
                            </button>
                        </p>
                    </li>
                </ul>
            }
        })
    };
    let question = move || {
        let opened = desk.opened.get()?;
        (!answered() || asked_again.get()).then(|| {
            let question = Question {
                // No capture of the session has this content; the form only asks.
                hash: ContentHash::of(opened.recording.name.as_bytes()),
                file_name: opened.recording.name.clone(),
                raw_range: opened.raw_range,
            };
            let take = move |quantity| desk.state_quantity(quantity);
            let before = desk.metadata.with_untracked(|metadata| metadata.quantity.clone());
            let over = move |()| asked_again.set(false);
            view! { <QuantityForm question=question answered=over take=take before=before /> }
        })
    };
    view! {
        {question}
        {item}
    }
}

fn words(opened: &Opened) -> String {
    let (rows, columns) = opened.shape;
    format!("recording of {}, {columns} × {rows} pixels", wording::count(opened.frames, "frame"))
}
