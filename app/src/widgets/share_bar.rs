//! A share of a whole, as a bar in a trough with its percentage behind it.

use leptos::prelude::*;

use crate::wording;

/// The bar; the number carries the meaning.
#[component]
pub fn ShareBar(
    /// From 0 to 1.
    share: f64,
) -> impl IntoView {
    view! {
        <span class="share">
            <span class="trough" aria-hidden="true">
                <i style:width=format!("{:.1}%", 100.0 * share)></i>
            </span>
            <span class="percent">{wording::percent(share)}</span>
        </span>
    }
}
