//! The page as a whole.

use leptos::prelude::*;

/// The whole page.
#[component]
pub fn Page() -> impl IntoView {
    view! { <main></main> }
}
