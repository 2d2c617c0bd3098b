//! What can be made of an open recording, in folds below the picture.

use leptos::prelude::*;

use super::curves::Chosen;
use super::desk::Desk;
use super::lock_in::LockInPanel;
use super::trends::TrendsPanel;
use super::triggers::TriggersPanel;
use super::warm_up::WarmUpPanel;

/// The folds, while a recording is open.
#[component]
pub fn TimePanels() -> impl IntoView {
    let desk = expect_context::<Desk>();
    provide_context(Chosen::new());
    view! {
        <Show when=move || desk.opened.with(Option::is_some)>
            <TrendsPanel />
            <WarmUpPanel />
            <TriggersPanel />
            <LockInPanel />
        </Show>
    }
}
