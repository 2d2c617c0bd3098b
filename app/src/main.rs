//! The one binary: the page in a window, the worker in a worker.

use app::page::Page;
use app::platform::{in_window, last_resort, worker};
use app::store::Store;
use leptos::prelude::*;

fn main() {
    if in_window() {
        last_resort::install();
        mount_to_body(|| {
            Store::provide();
            view! { <Page /> }
        });
    } else {
        worker::serve();
    }
}
