//! One pane of the stage: the picture with everything drawn on it, under hands and keys.

use leptos::html::Div;
use leptos::prelude::*;
use web_sys::KeyboardEvent;

use super::keys::{KeyMeaning, meaning};
use super::layer::Layer;
use super::look::{Arrangement, Cursor, Look, Plane, Tool};
use super::overlay::Overlay;
use super::pointer::Hands;
use super::shown::Shown;
use super::view::Spot;
use crate::store::Store;

/// How much one key enlarges.
const KEY_ZOOM: f64 = 1.25;

/// A pane.
#[component]
pub fn Pane(
    /// The picture on it.
    #[prop(into)]
    shown: Signal<Option<Shown>>,
    /// A second picture that the swipe handle uncovers.
    #[prop(optional, into)]
    over: Option<Signal<Option<Shown>>>,
    /// What stands above it when there are two.
    #[prop(into)]
    title: Signal<&'static str>,
    /// Stable name for the browser tests.
    #[prop(into)]
    testid: String,
    /// Where the stage measures the pane.
    measured: NodeRef<Div>,
) -> impl IntoView {
    let look = expect_context::<Look>();
    let store = Store::expect();
    let plane = Signal::derive(move || {
        shown.with(|shown| shown.as_ref().map_or(Plane::Baseline, |shown| shown.plane))
    });
    let hands = Hands::new(store, look, measured, plane);
    let keys = move |event: KeyboardEvent| {
        if event.ctrl_key() || event.meta_key() || event.alt_key() {
            return;
        }
        if let Some(meaning) = meaning(&event.key(), event.shift_key()) {
            event.prevent_default();
            obey(look, hands, plane.get_untracked(), meaning);
        }
    };
    let cut = Signal::derive(move || look.swipe.get());
    let swiping = move || {
        over.filter(|_| look.arrangement.get() == Arrangement::Swipe).map(|over| {
            view! {
                <Layer shown=over cut=cut testid="picture-over" />
                <SwipeHandle />
            }
        })
    };
    let bare =
        move || look.arrangement.get() == Arrangement::Single && look.subject.get().caption().is_none();
    view! {
        <div
            class="pane"
            class:drawing=move || look.tool.get() != Tool::Look
            node_ref=measured
            tabindex="0"
            role="application"
            aria-label=move || format!("{}: picture. Arrow keys move the cross-hair, plus and minus zoom.", title.get())
            on:pointerdown=move |event| hands.press(&event)
            on:pointermove=move |event| hands.motion(&event)
            on:pointerup=move |event| hands.release(&event)
            on:pointercancel=move |event| hands.cancel(&event)
            on:pointerleave=move |_| hands.leave()
            on:contextmenu=move |event| event.prevent_default()
            on:wheel=move |event| hands.wheel(&event)
            on:keydown=keys
        >
            <Layer shown=shown testid=testid />
            {swiping}
            <Show when=move || shown.with(Option::is_some)>
                <Overlay plane=plane />
            </Show>
            <span class="pane-title" hidden=bare>
                {move || title.get()}
            </span>
        </div>
    }
}

fn obey(look: Look, hands: Hands, plane: Plane, meaning: KeyMeaning) {
    match meaning {
        KeyMeaning::Move(across, down) => hands.pin(moved(look, plane, across, down)),
        KeyMeaning::Place => hands.place_at_cross_hair(),
        KeyMeaning::Close => hands.close(),
        KeyMeaning::LayDown => look.take(look.tool.get_untracked()),
        KeyMeaning::Closer => look.zoom(KEY_ZOOM),
        KeyMeaning::Further => look.zoom(1.0 / KEY_ZOOM),
        KeyMeaning::Whole => look.fit(),
    }
}

/// The cross-hair after a step: whole pixels, inside the picture, and in sight.
fn moved(look: Look, plane: Plane, across: f64, down: f64) -> Cursor {
    let (picture, pane) = (look.picture.get_untracked(), look.pane.get_untracked());
    let middle = Spot::new((picture.width / 2.0).round(), (picture.height / 2.0).round());
    let from = look.cursor.get_untracked().filter(|cursor| cursor.plane == plane);
    let from = from.map_or(middle, |cursor| cursor.at);
    let within = |place: f64, length: f64| place.round().clamp(0.0, (length - 1.0).max(0.0));
    let at = Spot::new(within(from.x + across, picture.width), within(from.y + down, picture.height));
    look.hover.set(None);
    look.view.update(|view| {
        let screen = view.to_screen(at);
        let inside = screen.x > 0.0 && screen.y > 0.0 && screen.x < pane.width && screen.y < pane.height;
        if !inside {
            *view = view.centred_on(at, view.scale, picture, pane);
        }
    });
    Cursor { at, plane }
}

/// The handle between two pictures laid over each other.
#[component]
fn SwipeHandle() -> impl IntoView {
    let look = expect_context::<Look>();
    let slide = move |event| {
        if let Some(percent) = crate::wording::read_number(&event_target_value(&event)) {
            look.swipe.set(percent / 100.0);
        }
    };
    view! {
        <div class="swipe-line" style:left=move || format!("{:.2}%", look.swipe.get() * 100.0)></div>
        <input
            class="swipe"
            type="range"
            min="0"
            max="100"
            step="0.5"
            aria-label="Baseline to the left, unit to the right of this line"
            prop:value=move || (look.swipe.get() * 100.0).to_string()
            on:input=slide
            on:pointerdown=|event| event.stop_propagation()
            on:keydown=|event| event.stop_propagation()
        />
    }
}
