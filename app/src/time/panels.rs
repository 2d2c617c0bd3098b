//! What can be made of an open recording, in folds below the picture.

use leptos::prelude::*;

use super::desk::Desk;

/// The folds, while a recording is open.
#[component]
pub fn TimePanels() -> impl IntoView {
    let desk = expect_context::<Desk>();
    view! { <Show when=move || desk.opened.with(Option::is_some)>"" </Show> }
}
