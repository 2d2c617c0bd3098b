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
