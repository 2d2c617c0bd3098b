//! Read-outs that stay: points, areas and lines with their least, mean and greatest values.

use leptos::prelude::*;

use super::look::{Look, Tool};

/// The read-outs under the picture.
#[component]
pub fn Gauges() -> impl IntoView {
    let look = expect_context::<Look>();
    let tool = move |tool: Tool| {
        view! {
            <button aria-pressed=move || (look.tool.get() == tool).to_string() on:click=move |_| look.take(tool)>
                {tool.name()}
            </button>
        }
    };
    view! {
        <details class="gauges" data-testid="gauges">
            <summary>"Read-outs"</summary>
            <div class="row">
                {tool(Tool::PointGauge)} {tool(Tool::AreaGauge)} {tool(Tool::LineGauge)}
            </div>
        </details>
    }
}
