//! The one binary: the page in a window, the worker in a worker.

use leptos::prelude::*;

fn main() {
    mount_to_body(|| {
        let _store = app::store::Store::provide();
        view! { <app::page::Page /> }
    });
}
