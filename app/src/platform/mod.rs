//! The browser: the only modules of the page's engine that touch it.

pub mod clock;
pub mod element_size;
pub mod file_stream;
pub mod files;
pub mod folder;
pub mod last_resort;
pub mod preference;
pub mod recording_worker;
pub mod storage;
pub mod tab_lock;
pub mod worker;

/// Whether this code runs in a window; in a worker it does not.
#[must_use]
pub fn in_window() -> bool {
    web_sys::window().is_some()
}

/// What a browser's error says.
#[must_use]
pub fn message_of(error: &wasm_bindgen::JsValue) -> String {
    use wasm_bindgen::JsCast;
    error
        .dyn_ref::<js_sys::Error>()
        .map(|error| String::from(error.message()))
        .or_else(|| error.as_string())
        .unwrap_or_else(|| format!("{error:?}"))
}

/// Calls `then` each time the page is hidden: another tab, another program, or closed.
pub fn when_hidden(then: impl Fn() + 'static) {
    let Some(document) = web_sys::window().and_then(|window| window.document()) else { return };
    let target = document.clone();
    gloo_events::EventListener::new(&target, "visibilitychange", move |_| {
        if document.hidden() {
            then();
        }
    })
    .forget();
}
