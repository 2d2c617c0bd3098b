//! Small choices about the page itself, such as light or dark, kept from one visit to the next.
//!
//! They belong to this browser, not to the inspection, so they are in no session and in no file.

use web_sys::Storage;

fn storage() -> Option<Storage> {
    // A browser that stores nothing forgets them, which is no fault.
    web_sys::window()?.local_storage().ok().flatten()
}

/// The choice of this name, if one was made.
#[must_use]
pub fn kept(name: &str) -> Option<String> {
    storage()?.get_item(name).ok().flatten()
}

/// Keeps a choice.
pub fn keep(name: &str, choice: &str) {
    if let Some(storage) = storage() {
        let _ = storage.set_item(name, choice);
    }
}
