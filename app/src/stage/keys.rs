//! What the keys do while the picture has the focus.

/// One key's meaning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum KeyMeaning {
    /// Moves the cross-hair, in pixels across and down.
    Move(f64, f64),
    /// Places what the tool in hand places.
    Place,
    /// Closes a polygon.
    Close,
    /// Lays the tool down.
    LayDown,
    /// Enlarges.
    Closer,
    /// Makes smaller.
    Further,
    /// Shows the whole picture.
    Whole,
}

/// Pixels the cross-hair moves with Shift.
const STRIDE: f64 = 10.0;

/// What a key means; `None` for keys that are the browser's.
#[must_use]
pub fn meaning(key: &str, shift: bool) -> Option<KeyMeaning> {
    let step = if shift { STRIDE } else { 1.0 };
    Some(match key {
        "ArrowLeft" => KeyMeaning::Move(-step, 0.0),
        "ArrowRight" => KeyMeaning::Move(step, 0.0),
        "ArrowUp" => KeyMeaning::Move(0.0, -step),
        "ArrowDown" => KeyMeaning::Move(0.0, step),
        "Enter" => KeyMeaning::Place,
        "c" | "C" => KeyMeaning::Close,
        "Escape" => KeyMeaning::LayDown,
        "+" | "=" => KeyMeaning::Closer,
        "-" => KeyMeaning::Further,
        "0" => KeyMeaning::Whole,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shift_makes_long_strides() {
        assert_eq!(meaning("ArrowUp", false), Some(KeyMeaning::Move(0.0, -1.0)));
        assert_eq!(meaning("ArrowRight", true), Some(KeyMeaning::Move(10.0, 0.0)));
    }

    #[test]
    fn tab_is_left_to_the_browser_so_that_nobody_is_trapped() {
        assert_eq!(meaning("Tab", false), None);
    }
}
