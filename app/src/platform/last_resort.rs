//! After a fault of ours the page cannot go on; what a person did can still be saved.

use std::cell::RefCell;
use std::sync::Arc;

use analysis::session::Session;
use analysis::session::saved;
use wasm_bindgen::{JsCast, JsValue};
use web_sys::HtmlAnchorElement;

use super::files::address_of;

thread_local! {
    /// The session as it last was, reachable when nothing else is.
    static LATEST: RefCell<Option<Arc<Session>>> = const { RefCell::new(None) };
}

/// Keeps the session at hand for the worst case.
pub fn keep_at_hand(session: Arc<Session>) {
    LATEST.with(|latest| *latest.borrow_mut() = Some(session));
}

/// From now on a panic in the page shows a notice with a way to save the session.
pub fn install() {
    std::panic::set_hook(Box::new(|panic| {
        let message = panic.to_string();
        web_sys::console::error_1(&message.as_str().into());
        // Whatever goes wrong here, the fault itself is already on the console.
        let _ = show(&message);
    }));
}

fn show(message: &str) -> Result<(), JsValue> {
    let document = web_sys::window().and_then(|window| window.document()).ok_or("there is no document")?;
    let body = document.body().ok_or("the document has no body")?;
    if document.get_element_by_id("last-resort").is_some() {
        return Ok(());
    }
    let notice = document.create_element("div")?;
    notice.set_id("last-resort");
    notice.set_attribute("role", "alert")?;
    let text = document.create_element("p")?;
    text.set_text_content(Some(
        "The page met a fault of its own and cannot go on. Save the session, then load the page again.",
    ));
    notice.append_child(&text)?;
    if let Some(json) = latest_session() {
        let link: HtmlAnchorElement = document.create_element("a")?.unchecked_into();
        link.set_href(&address_of("application/json", json.as_bytes())?);
        link.set_download("session.json");
        link.set_text_content(Some("Save session"));
        notice.append_child(&link)?;
    }
    let detail = document.create_element("pre")?;
    detail.set_text_content(Some(message));
    notice.append_child(&detail)?;
    body.prepend_with_node_1(&notice)?;
    Ok(())
}

fn latest_session() -> Option<String> {
    let session = LATEST.with(|latest| latest.try_borrow().ok()?.clone())?;
    saved::save(&session).ok()
}
