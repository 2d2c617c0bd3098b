//! Files in and out: reading what was dropped, handing over what was made.

use wasm_bindgen::{JsCast, JsValue};
use web_sys::{Blob, BlobPropertyBag, File, HtmlAnchorElement, Url};

use super::message_of;

/// How long a download's address stays valid, milliseconds: the browser may still read from it
/// while it asks where to save.
const ADDRESS_LIFETIME: u32 = 60_000;

/// The whole content of a file.
///
/// # Errors
/// What the browser says, when the file cannot be read (moved, no permission).
pub async fn read(file: &File) -> Result<Vec<u8>, String> {
    let blob = gloo_file::Blob::from(Blob::from(file.clone()));
    gloo_file::futures::read_as_bytes(&blob).await.map_err(|error| error.to_string())
}

/// Hands a file over as a download.
///
/// # Errors
/// What the browser says.
pub fn download(file_name: &str, media_type: &str, bytes: &[u8]) -> Result<(), String> {
    offer(file_name, media_type, bytes).map_err(|error| message_of(&error))
}

fn offer(file_name: &str, media_type: &str, bytes: &[u8]) -> Result<(), JsValue> {
    let address = address_of(media_type, bytes)?;
    let document = web_sys::window().and_then(|window| window.document()).ok_or("there is no document")?;
    let link: HtmlAnchorElement = document.create_element("a")?.unchecked_into();
    link.set_href(&address);
    link.set_download(file_name);
    link.click();
    gloo_timers::callback::Timeout::new(ADDRESS_LIFETIME, move || {
        let _ = Url::revoke_object_url(&address);
    })
    .forget();
    Ok(())
}

/// An address within this page under which the bytes can be had.
pub(super) fn address_of(media_type: &str, bytes: &[u8]) -> Result<String, JsValue> {
    let options = BlobPropertyBag::new();
    options.set_type(media_type);
    let parts = js_sys::Array::of1(&js_sys::Uint8Array::from(bytes));
    let blob = Blob::new_with_u8_array_sequence_and_options(&parts, &options)?;
    Url::create_object_url_with_blob(&blob)
}

/// A file made of bytes that are here already.
///
/// # Errors
/// What the browser says.
pub fn file_of(file_name: &str, bytes: &[u8]) -> Result<File, String> {
    let parts = js_sys::Array::of1(&js_sys::Uint8Array::from(bytes));
    File::new_with_u8_array_sequence(&parts, file_name).map_err(|error| message_of(&error))
}

/// A piece of a file; shorter where the file ends.
///
/// # Errors
/// As [`read`].
pub async fn read_piece(file: &File, at: u64, bytes: usize) -> Result<Vec<u8>, String> {
    let end = at.saturating_add(bytes as u64) as f64;
    let piece = file.slice_with_f64_and_f64(at as f64, end).map_err(|error| message_of(&error))?;
    let piece = gloo_file::Blob::from(piece);
    gloo_file::futures::read_as_bytes(&piece).await.map_err(|error| error.to_string())
}
