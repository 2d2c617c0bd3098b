//! A folder that the person lets the page look into, in browsers that have this.
//!
//! `web-sys` counts this interface as unstable, so it is reached by name.

use js_sys::{Function, Object, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::File;

use super::message_of;

const PICK: &str = "showDirectoryPicker";

/// A folder that was chosen.
#[derive(Debug, Clone)]
pub struct Folder {
    handle: JsValue,
}

/// Whether the browser lets a folder be chosen.
#[must_use]
pub fn can_be_chosen() -> bool {
    Reflect::get(&js_sys::global(), &PICK.into()).is_ok_and(|found| found.is_function())
}

impl Folder {
    /// Lets the person choose a folder; `None` when they choose none. Call it from a press.
    ///
    /// # Errors
    /// What the browser says.
    pub async fn choose() -> Result<Option<Self>, String> {
        let chosen = async {
            let global = js_sys::global();
            let pick: Function = Reflect::get(&global, &PICK.into())?.dyn_into()?;
            await_promise(pick.call0(&global)?).await
        };
        match chosen.await {
            Ok(handle) => Ok(Some(Self { handle })),
            Err(error) if name_of(&error) == "AbortError" => Ok(None),
            Err(error) => Err(message_of(&error)),
        }
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> String {
        text(&self.handle, "name")
    }

    /// The files in it, without those of folders within.
    ///
    /// # Errors
    /// What the browser says, for instance when the folder is gone.
    pub async fn files(&self) -> Result<Vec<File>, String> {
        self.list().await.map_err(|error| message_of(&error))
    }

    async fn list(&self) -> Result<Vec<File>, JsValue> {
        let entries = call(&self.handle, "values")?;
        let mut files = Vec::new();
        loop {
            let next = await_promise(call(&entries, "next")?).await?;
            if Reflect::get(&next, &"done".into())?.is_truthy() {
                return Ok(files);
            }
            let entry = Reflect::get(&next, &"value".into())?;
            if text(&entry, "kind") == "file" {
                // A file that is just being written or is gone again is there the next time.
                if let Ok(file) = await_promise(call(&entry, "getFile")?).await {
                    files.push(file.dyn_into()?);
                }
            }
        }
    }
}

fn call(of: &JsValue, method: &str) -> Result<JsValue, JsValue> {
    let method: Function = Reflect::get(of, &method.into())?.dyn_into()?;
    method.call0(of)
}

async fn await_promise(value: JsValue) -> Result<JsValue, JsValue> {
    JsFuture::from(value.dyn_into::<Promise>()?).await
}

fn text(of: &JsValue, field: &str) -> String {
    Reflect::get(of, &field.into()).ok().and_then(|value| value.as_string()).unwrap_or_default()
}

fn name_of(error: &JsValue) -> String {
    error.dyn_ref::<Object>().map(|error| text(error, "name")).unwrap_or_default()
}
