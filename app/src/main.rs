//! The one binary: the page in a window, the worker in a worker.

use app::page::Page;
use app::platform::{in_window, last_resort, recording_worker, worker};
use app::store::Store;
use leptos::prelude::*;

fn main() {
    if in_window() {
        last_resort::install();
        mount_to_body(|| {
            Store::provide();
            view! { <Page /> }
        });
    } else if recording_worker::is_meant() {
        recording_worker::serve();
    } else {
        worker::serve();
    }
}
