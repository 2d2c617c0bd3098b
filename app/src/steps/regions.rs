//! Regions with a finish of their own: drawn on the picture, or laid over a part's body.

use analysis::session::Command;
use analysis::surface::{Outline, PlacedOutline, Region};
use leptos::prelude::*;

use super::finish_form::{FinishForm, in_one_line};
use crate::stage::bodies::Bodies;
use crate::stage::look::{Look, Tool};
use crate::stage::tool_button::ToolButton;
use crate::store::Store;
use crate::widgets::{Icon, Sign, Slider, TextField};

const TOOLS: [Tool; 4] = [Tool::Rectangle, Tool::Ellipse, Tool::Polygon, Tool::Brush];

/// Radius of the brush: least, greatest, step; pixels.
const BRUSH: [f64; 3] = [1.0, 30.0, 0.5];

/// The finish and the tools of new regions.
#[component]
pub fn NewRegions() -> impl IntoView {
    let look = expect_context::<Look>();
    let tools = TOOLS.map(|tool| view! { <ToolButton tool=tool /> });
    view! {
        <div class="block" data-testid="new-regions" tabindex="-1">
            <h3>"Places with another finish"</h3>
            <FinishForm
                label="Finish to lay"
                finish=look.finish
                change=move |finish| look.finish.set(finish)
                begin=|()| ()
                end=|()| ()
                testid="region"
            />
            <CoverPart />
            <p class="remark">"or draw it on the picture; a slider here changes nothing that is laid already:"</p>
            <div class="row">{tools}</div>
            <div hidden=move || look.tool.get() != Tool::Brush>
                <Slider
                    label="Radius of the brush, pixels"
                    range=BRUSH
                    value=look.brush
                    slide=move |radius| look.brush.set(radius)
                    begin=|()| ()
                    end=|()| ()
                />
            </div>
        </div>
    }
}

/// Lays the finish over the part under the cross-hair.
#[component]
fn CoverPart() -> impl IntoView {
    let (store, look, bodies) = (Store::expect(), expect_context::<Look>(), expect_context::<Bodies>());
    let part = Memo::new(move |_| look.cursor.get().and_then(|cursor| bodies.part_at(cursor.at)));
    let cover = move |_| {
        let Some(name) = part.get_untracked() else { return };
        let Some(corners) = bodies.corners_on_board(&name) else { return };
        let outline = PlacedOutline::Board(Outline::Polygon { corners });
        let region = Region { name, outline, finish: look.finish.get_untracked() };
        store.dispatch(Command::AddRegion { region });
    };
    let words = move || match part.get() {
        Some(part) => format!("Lay it over {part}"),
        None => "Lay it over a part: click one in the picture first".to_owned(),
    };
    view! {
        <button data-testid="cover-part" disabled=move || part.with(Option::is_none) on:click=cover>
            {words}
        </button>
    }
}

/// The regions there are, the top one first.
#[component]
pub fn Regions() -> impl IntoView {
    let store = Store::expect();
    let regions = Memo::new(move |_| store.session().with(|session| session.surface.regions.clone()));
    let items = move || {
        let count = regions.with(Vec::len);
        // The last region lies on top, so it stands first.
        (0..count).rev().map(|index| view! { <RegionItem regions=regions index=index /> }).collect::<Vec<_>>()
    };
    view! {
        <div class="block" hidden=move || regions.with(Vec::is_empty)>
            <h3>"Regions, the top one first"</h3>
            <ul class="items" data-testid="regions">
                {items}
            </ul>
        </div>
    }
}

#[component]
fn RegionItem(
    /// All regions.
    regions: Memo<Vec<Region>>,
    /// Which of them this is.
    index: usize,
) -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let name = Signal::derive(move || {
        regions.with(|all| all.get(index).map(|r| r.name.clone()).unwrap_or_default())
    });
    let line = move || regions.with(|all| all.get(index).map(|region| in_one_line(&region.finish)));
    let change = move |edit: &dyn Fn(&mut Region)| {
        if let Some(mut region) = regions.with_untracked(|all| all.get(index).cloned()) {
            edit(&mut region);
            store.dispatch(Command::ChangeRegion { index, region });
        }
    };
    let top = move || regions.with(Vec::len) == index + 1;
    view! {
        <li data-testid="region">
            <TextField label="Name" value=name commit=move |name: String| change(&|r| r.name = name.clone()) />
            <div class="row">
                <button
                    class="quiet"
                    title="Lay it on top of the next one"
                    aria-label=move || format!("Move {} up", name.get())
                    disabled=top
                    on:click=move |_| store.dispatch(Command::MoveRegion { from: index, to: index + 1 })
                >
                    <Icon sign=Sign::Up />
                </button>
                <button
                    class="quiet"
                    title="Take this region away"
                    aria-label=move || format!("Take away {}", name.get())
                    on:click=move |_| store.dispatch(Command::RemoveRegion { index })
                >
                    <Icon sign=Sign::Remove />
                </button>
            </div>
            <p class="remark below">
                {line}
                <button
                    class="quiet"
                    title="The finish chosen above for new regions"
                    on:click=move |_| change(&|region| region.finish = look.finish.get_untracked())
                >
                    "Give it the finish above"
                </button>
            </p>
        </li>
    }
}
