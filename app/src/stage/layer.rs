//! One painted picture: a canvas of the picture's own pixels, enlarged by the browser.
//!
//! Pan and zoom only move the canvas; it is painted again when values, colours or limits change.

use leptos::html::Canvas;
use leptos::prelude::*;
use wasm_bindgen::{Clamped, JsCast};
use web_sys::{CanvasRenderingContext2d, HtmlCanvasElement, ImageData};

use super::hatch::hatch;
use super::look::Look;
use super::recorded::Recorded;
use super::scale::Scales;
use super::shown::Shown;
use crate::store::Store;

/// A picture as a canvas.
#[component]
pub fn Layer(
    /// What is painted; nothing where there is nothing.
    #[prop(into)]
    shown: Signal<Option<Shown>>,
    /// Which part of the pane it covers from the left, as a percentage that is cut away.
    #[prop(optional, into)]
    cut: Option<Signal<f64>>,
    /// Stable name for the browser tests.
    #[prop(into)]
    testid: String,
) -> impl IntoView {
    let look = expect_context::<Look>();
    let scales = expect_context::<Scales>();
    let recorded = expect_context::<Recorded>();
    let store = Store::expect();
    let measurable_within =
        Memo::new(move |_| store.session().with(|session| session.input_uncertainty.measurable_within));
    let canvas = NodeRef::<Canvas>::new();
    Effect::new(move || {
        let Some(canvas) = canvas.get() else { return };
        shown.with(|shown| match shown {
            Some(shown) => {
                let (limits, palette) = scales.of(shown.scale());
                let mut rgba = shown.colors(limits, palette);
                if let Some(uncertainty) = shown.uncertainty().filter(|_| look.hatched.get()) {
                    hatch(&mut rgba, uncertainty, measurable_within.get());
                }
                if let Some((beyond, picture)) = recorded.beyond.get().zip(shown.recorded_temperatures()) {
                    beyond.dye(&mut rgba, picture);
                }
                paint_canvas(&canvas, shown, &rgba);
            }
            None => canvas.set_width(0),
        });
    });
    let place = move || {
        let view = look.view.get();
        format!("translate({:.2}px, {:.2}px) scale({:.5})", view.left, view.top, view.scale)
    };
    let clip = move || match cut {
        Some(cut) => {
            let (view, pane) = (look.view.get(), look.pane.get());
            // The cut is stated across the pane, the clip across the picture's own pixels.
            let cut = ((cut.get() * pane.width - view.left) / view.scale).max(0.0);
            format!("inset(0 0 0 {cut:.2}px)")
        }
        None => "none".to_owned(),
    };
    view! {
        <canvas
            node_ref=canvas
            class="layer"
            class:smooth=move || look.smooth.get()
            data-testid=testid
            style:transform=place
            style:clip-path=clip
            aria-hidden="true"
        ></canvas>
    }
}

fn paint_canvas(canvas: &HtmlCanvasElement, shown: &Shown, rgba: &[u8]) {
    let extent = shown.extent();
    let (width, height) = (extent.width as u32, extent.height as u32);
    let Ok(image) = ImageData::new_with_u8_clamped_array_and_sh(Clamped(rgba), width, height) else {
        return;
    };
    if (canvas.width(), canvas.height()) != (width, height) {
        canvas.set_width(width);
        canvas.set_height(height);
    }
    if let Some(context) = context_of(canvas) {
        // A browser that cannot take the pixels leaves the picture as it was; there is nothing else to do.
        let _ = context.put_image_data(&image, 0.0, 0.0);
    }
}

/// The canvas's drawing context.
#[must_use]
pub fn context_of(canvas: &HtmlCanvasElement) -> Option<CanvasRenderingContext2d> {
    canvas.get_context("2d").ok().flatten()?.dyn_into().ok()
}
