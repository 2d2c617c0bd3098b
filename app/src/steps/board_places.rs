//! Places known on the board and in the picture: four of them lay the parts onto the baseline.

use analysis::board::Placement;
use analysis::capture::CornerMark;
use analysis::geometry::{BaselinePixels, BoardMillimeters, Point};
use analysis::session::Command;
use leptos::prelude::*;

use crate::stage::look::{Look, Tool};
use crate::store::Store;
use crate::widgets::{Icon, NumberField, Picker, Sign};
use crate::wording;

/// Marks that settle a map of the plane.
const NEEDED: usize = 4;

/// The marked places and the tool to mark more.
#[component]
pub fn BoardPlaces() -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let corners = Memo::new(move |_| store.session().with(|session| session.layout.corners.clone()));
    let remove = move |index: usize| {
        let mut corners = corners.get_untracked();
        if index < corners.len() {
            corners.remove(index);
        }
        store.dispatch(Command::MarkCorners { corners });
    };
    let items = move || {
        let item = |(index, mark): (usize, CornerMark<BaselinePixels>)| {
            view! {
                <li>
                    <span>{format!("{}. {}", index + 1, in_words(&mark))}</span>
                    <button
                        class="quiet"
                        aria-label=format!("Take away board place {}", index + 1)
                        on:click=move |_| remove(index)
                    >
                        <Icon sign=Sign::Remove />
                    </button>
                </li>
            }
        };
        corners.get().into_iter().enumerate().map(item).collect::<Vec<_>>()
    };
    let state = move || match corners.with(Vec::len) {
        marked if marked >= NEEDED => "The parts lie on the picture.".to_owned(),
        marked => {
            format!("{} more to go: corners or fiducials, spread out, not in one line.", NEEDED - marked)
        }
    };
    let pending = move || look.pending_corner.get().map(|pixel| view! { <PendingPlace pixel=pixel /> });
    view! {
        <div class="block" data-testid="board-places">
            <h3>"Where the board lies in the picture"</h3>
            <p class="remark">{state}</p>
            <ul class="items">{items}</ul>
            {pending}
            <div class="row">
                <button
                    data-testid="tool-corner"
                    aria-pressed=move || (look.tool.get() == Tool::Corner).to_string()
                    on:click=move |_| look.take(Tool::Corner)
                >
                    {Tool::Corner.name()}
                </button>
            </div>
        </div>
    }
}

fn in_words(mark: &CornerMark<BaselinePixels>) -> String {
    let pair = |x: f64, y: f64| format!("{}, {}", wording::number(x, 1), wording::number(y, 1));
    format!("pixel {} is board {} mm", pair(mark.pixel.x, mark.pixel.y), pair(mark.board.x, mark.board.y))
}

/// Asks where a place just clicked is on the board.
#[component]
fn PendingPlace(
    /// The place clicked.
    pixel: Point<BaselinePixels>,
) -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let (x, y) = (RwSignal::new(None::<f64>), RwSignal::new(None::<f64>));
    let parts = Memo::new(move |_| store.session().with(|session| session.layout.placements.clone()));
    let names = Signal::derive(move || {
        parts.with(|parts| parts.iter().map(|part| part.designator.clone()).collect::<Vec<_>>())
    });
    let chosen = Signal::derive(move || {
        let here = |part: &Placement| Some(part.center.x) == x.get() && Some(part.center.y) == y.get();
        parts.with(|parts| parts.iter().position(here))
    });
    let centre = move |place: usize| {
        parts.with_untracked(|parts| {
            if let Some(part) = parts.get(place) {
                x.set(Some(part.center.x));
                y.set(Some(part.center.y));
            }
        });
    };
    let outline = Memo::new(move |_| store.session().with(|session| session.layout.outline.corners()));
    let corner_names = Signal::derive(move || {
        let name = |at: Point<BoardMillimeters>| {
            format!("x {}, y {} mm", wording::number(at.x, 1), wording::number(at.y, 1))
        };
        outline.get().map(|corners| corners.map(name).to_vec()).unwrap_or_default()
    });
    let chosen_corner = Signal::derive(move || {
        let at = x.get().zip(y.get());
        outline.get()?.iter().position(|corner| Some((corner.x, corner.y)) == at)
    });
    let corner = move |place: usize| {
        if let Some(corner) = outline.get_untracked().and_then(|corners| corners.get(place).copied()) {
            x.set(Some(corner.x));
            y.set(Some(corner.y));
        }
    };
    let corner_picker = move || {
        outline.get().is_some().then(|| {
            view! {
                <Picker
                    label="or the corner at"
                    options=corner_names
                    chosen=chosen_corner
                    choose=corner
                    hint="choose a corner"
                    testid="corner-of-outline"
                />
            }
        })
    };
    let field = move |label: &'static str, signal: RwSignal<Option<f64>>, testid: &'static str| {
        let commit = move |typed: Option<f64>| {
            signal.set(typed);
            None
        };
        view! { <NumberField label=label unit="mm".to_owned() value=signal commit=commit testid=testid /> }
    };
    let board = move || x.get().zip(y.get()).map(|(x, y)| Point::<BoardMillimeters>::new(x, y));
    let add = move |_| {
        let Some(board) = untrack(board) else { return };
        let mut corners = store.session().get_untracked().layout.corners.clone();
        corners.push(CornerMark { pixel, board });
        look.pending_corner.set(None);
        store.dispatch(Command::MarkCorners { corners });
    };
    view! {
        <div class="question">
            <p>"Where on the board is the marked place?"</p>
            <div class="fields">
                {field("x on the board", x, "corner-x")} {field("y on the board", y, "corner-y")}
                {corner_picker}
                <Picker label="or the centre of" options=names chosen=chosen choose=centre hint="choose a part" />
            </div>
            <div class="row">
                <button
                    class="primary"
                    data-testid="add-corner"
                    disabled=move || board().is_none()
                    on:click=add
                >
                    "Add this place"
                </button>
                <button on:click=move |_| look.pending_corner.set(None)>"Forget it"</button>
            </div>
        </div>
    }
}
