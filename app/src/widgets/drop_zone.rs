//! A place to drop files on, which also opens the browser's file chooser.

use leptos::prelude::*;
use web_sys::{DragEvent, File, FileList, HtmlInputElement};

use super::fresh_id;

/// The files of a list, if there is one.
#[must_use]
pub fn files_of(list: Option<FileList>) -> Vec<File> {
    list.map(|list| (0..list.length()).filter_map(|place| list.item(place)).collect()).unwrap_or_default()
}

/// A drop zone that is also a file chooser, for mouse, finger and keyboard.
#[component]
pub fn DropZone(
    /// What to do here.
    #[prop(into)]
    title: String,
    /// What it takes.
    #[prop(into)]
    remark: String,
    /// Takes the files.
    #[prop(into)]
    take: Callback<Vec<File>>,
    /// Stable name of the file input for the browser tests.
    #[prop(into)]
    testid: String,
) -> impl IntoView {
    let id = fresh_id("files");
    let over = RwSignal::new(false);
    let chosen = move |event| {
        let input: HtmlInputElement = event_target(&event);
        let files = files_of(input.files());
        // The same file can be chosen again only after the input is emptied.
        input.set_value("");
        take.run(files);
    };
    let dropped = move |event: DragEvent| {
        // The page learns of the drop, and by this that it is none of its own.
        event.prevent_default();
        over.set(false);
        take.run(files_of(event.data_transfer().and_then(|transfer| transfer.files())));
    };
    view! {
        <label
            class="drop"
            for=id.clone()
            data-over=move || over.get().to_string()
            on:dragover=move |event: DragEvent| {
                event.prevent_default();
                over.set(true);
            }
            on:dragleave=move |_| over.set(false)
            on:drop=dropped
        >
            <strong>{title}</strong>
            <span class="remark">{remark}</span>
            <input id=id.clone() class="unseen" type="file" multiple=true data-testid=testid on:change=chosen />
        </label>
    }
}
