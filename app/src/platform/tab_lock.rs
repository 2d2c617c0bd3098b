//! Only one tab keeps its session in the browser's storage; this decides which.
//!
//! The browser's own lock is used, which ends with the tab, however it ends. `web-sys` counts this
//! interface as unstable, so it is reached by name.

use gloo_timers::future::TimeoutFuture;
use js_sys::{Function, Object, Promise, Reflect};
use wasm_bindgen::closure::Closure;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;

/// The lock's name within this origin.
const NAME: &str = "boardglow-session";
/// A page that is being reloaded may still hold the lock for a moment.
const ATTEMPTS: u32 = 5;
/// Milliseconds between two attempts.
const PAUSE: u32 = 150;

/// Who holds the session's place in storage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Claim {
    /// This tab, for as long as it lives.
    Ours,
    /// Another tab.
    Theirs,
    /// The browser has no locks here, so nobody can be sure.
    Unknown,
}

/// Claims the session's place for this tab.
pub async fn claim() -> Claim {
    for attempt in 0..ATTEMPTS {
        if attempt > 0 {
            TimeoutFuture::new(PAUSE).await;
        }
        match request().await {
            Ok(true) => return Claim::Ours,
            Ok(false) => {}
            Err(_) => return Claim::Unknown,
        }
    }
    Claim::Theirs
}

/// Asks for the lock once, without waiting for it.
async fn request() -> Result<bool, JsValue> {
    let navigator = web_sys::window().ok_or("there is no window")?.navigator();
    let locks = Reflect::get(&navigator, &"locks".into())?;
    let request: Function = Reflect::get(&locks, &"request".into())?.dyn_into()?;
    let options = Object::new();
    Reflect::set(&options, &"ifAvailable".into(), &true.into())?;
    let answer = Promise::new(&mut |resolve, reject| {
        let granted = Closure::once_into_js(move |lock: JsValue| -> JsValue {
            let ours = !lock.is_null();
            // A resolve function has nothing to report.
            let _ = resolve.call1(&JsValue::NULL, &ours.into());
            // The lock is held until this promise is settled: never.
            if ours { Promise::new(&mut |_, _| {}).into() } else { JsValue::UNDEFINED }
        });
        let asked = request.call3(&locks, &NAME.into(), &options, &granted);
        // Refused at once, or later, as where a page is not trusted with locks.
        let watched = asked.and_then(|asked| {
            let then: Function = Reflect::get(&asked, &"then".into())?.dyn_into()?;
            then.call2(&asked, &JsValue::UNDEFINED, &reject)
        });
        if let Err(error) = watched {
            let _ = reject.call1(&JsValue::NULL, &error);
        }
    });
    Ok(JsFuture::from(answer).await?.is_truthy())
}
