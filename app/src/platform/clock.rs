//! What time it is, for what is written down.

/// The present moment in RFC 3339, UTC, to the second.
#[must_use]
pub fn now() -> String {
    let with_milliseconds = String::from(js_sys::Date::new_0().to_iso_string());
    match with_milliseconds.split_once('.') {
        Some((seconds, _)) => format!("{seconds}Z"),
        None => with_milliseconds,
    }
}

/// Milliseconds on a clock that only goes forward as long as nobody sets it.
#[must_use]
pub fn milliseconds() -> f64 {
    js_sys::Date::now()
}

/// A time in ISO 8601 as milliseconds since 1970; without an offset it is taken for local time. `None` for other text.
#[must_use]
pub fn instant(moment: &str) -> Option<f64> {
    let milliseconds = js_sys::Date::parse(moment);
    (!moment.is_empty() && milliseconds.is_finite()).then_some(milliseconds)
}

/// The moment so many seconds after another in RFC 3339; `None` where the other is no such moment.
#[must_use]
pub fn later(moment: &str, seconds: f64) -> Option<String> {
    let start = js_sys::Date::parse(moment);
    if moment.is_empty() || !(start + seconds).is_finite() {
        return None;
    }
    let then = js_sys::Date::new(&wasm_bindgen::JsValue::from_f64(start + 1000.0 * seconds));
    Some(String::from(then.to_iso_string()))
}
