//! Holding the board still: a camera or board that moves a little while it is recorded.

use leptos::prelude::*;

use super::desk::Desk;
use super::protocol::{Ask, HeldParcel};
use crate::wording;

impl Desk {
    /// Brings every frame onto the one looked at.
    pub fn hold_still(self) {
        let reference = self.frame.get_untracked();
        self.ask(Ask::HoldStill { reference }, "Finding how the board moved");
    }

    /// Looks at frames as they are again.
    pub fn let_go(self) {
        self.ask(Ask::LetGo, "Letting go");
    }
}

/// The button, and what was found.
#[component]
pub fn HoldStill() -> impl IntoView {
    let desk = expect_context::<Desk>();
    let frames = move || desk.opened.with(|opened| opened.as_ref().map_or(0, |opened| opened.frames));
    let held = move || desk.held.with(|held| held.as_ref().is_some_and(|held| is_found(held, frames())));
    let blocked = move || {
        desk.work.with(Option::is_some)
            || desk.metadata.with(|metadata| metadata.quantity.is_none())
            || desk.opened.with(|opened| opened.as_ref().is_none_or(|opened| !opened.complete))
    };
    let turn = move |_| {
        if untrack(held) {
            desk.let_go();
        } else {
            desk.hold_still();
        }
    };
    let told = move || desk.held.get().map(|held| short_of(held, frames()));
    let told_in_full = move || desk.held.get().map(|held| words_of(held, frames()));
    view! {
        <div class="row tight">
            <button
                class="quiet"
                title="Brings every frame onto the one looked at, where camera or board have moved"
                data-testid="hold-still"
                disabled=blocked
                on:click=turn
            >
                {move || if held() { "Let the board move" } else { "Hold the board still" }}
            </button>
            <span class="remark held" role="status" data-testid="held" title=told_in_full>{told}</span>
        </div>
    }
}

/// Whether the board was found in any frame but the one it was looked for by.
const fn is_found(held: &HeldParcel, frames: usize) -> bool {
    held.unsure + 1 < frames
}

/// What a person reads of it in the bar, which is no wider than that.
fn short_of(held: HeldParcel, frames: usize) -> String {
    if !is_found(&held, frames) {
        return "Not held: parts stand out too little in this frame".to_owned();
    }
    let moved = format!("Held: it moves by up to {} px", wording::number(held.most_px, 1));
    match held.unsure {
        0 => moved,
        unsure => format!("{moved}; not found in {}", wording::count(unsure, "frame")),
    }
}

/// All that is known of it.
fn words_of(held: HeldParcel, frames: usize) -> String {
    if !is_found(&held, frames) {
        return format!(
            "Not held: the board was found in no other frame than {}. Go to a frame in which its parts stand out, and try again.",
            held.reference + 1
        );
    }
    let onto = format!(
        "Held as in frame {}: it moves by up to {} px.",
        held.reference + 1,
        wording::number(held.most_px, 1)
    );
    if held.unsure == 0 {
        return onto;
    }
    format!(
        "{onto} In {} it was not found: there it is taken to lie as in the frame before.",
        wording::count(held.unsure, "frame")
    )
}
