//! The button that takes a tool of the picture in hand.

use leptos::prelude::*;

use super::look::{Look, Tool};

/// Pressed while its tool is in hand.
#[component]
pub fn ToolButton(
    /// The tool.
    tool: Tool,
) -> impl IntoView {
    let look = expect_context::<Look>();
    view! {
        <button
            aria-pressed=move || (look.tool.get() == tool).to_string()
            data-testid=format!("tool-{}", tool.name().to_lowercase())
            on:click=move |_| look.take(tool)
        >
            {tool.name()}
        </button>
    }
}
