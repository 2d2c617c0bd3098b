//! Measured instead of guessed: the bench procedures that yield a reflected temperature or an emissivity.

mod board_map;
mod camera_reading;
mod camera_uncertainty;
mod cavity;
mod emissivity;
mod outcome;
mod place;
mod readings;
mod records;
mod reflected;

use leptos::prelude::*;

/// All procedures, each folded away until it is wanted, and what was recorded.
#[component]
pub fn Procedures() -> impl IntoView {
    view! {
        <div class="block" data-testid="procedures">
            <h3>"Measure instead of guessing"</h3>
            <p class="remark">
                "Each procedure leads through its steps, works out the value with its uncertainty and keeps the record in the result file."
            </p>
            <reflected::ByReflector />
            <reflected::ByDirectView />
            <emissivity::ByContact />
            <emissivity::ByReference />
            <cavity::ByCavity />
            <board_map::ByUnpoweredCaptures />
            <records::Records />
        </div>
    }
}

/// The frame of one procedure: its name, its numbered steps, and what is entered.
#[component]
fn Guided(
    /// What is found, and how.
    name: &'static str,
    /// What to do, in order.
    steps: &'static [&'static str],
    /// What to mind for safety.
    #[prop(optional)]
    caution: &'static str,
    /// Stable name for the browser tests.
    testid: &'static str,
    /// The entries.
    children: Children,
) -> impl IntoView {
    let steps: Vec<_> = steps.iter().map(|step| view! { <li>{*step}</li> }).collect();
    view! {
        <details class="procedure" data-testid=testid>
            <summary>{name}</summary>
            <div class="procedure-body">
                <p class="caution" role="note" hidden=caution.is_empty()>{caution}</p>
                <ol class="guide">{steps}</ol>
                {children()}
            </div>
        </details>
    }
}
