//! What a part is, by the letters of its reference designator.
//!
//! Class letters in the manner of IEC 81346-2 and IEEE 315, remembered, not looked up.

/// What a part is, as far as its designator tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PartKind {
    Resistor,
    Capacitor,
    Winding,
    Diode,
    Transistor,
    Circuit,
    Contact,
    Other,
    NoPart,
}

/// By the letters that a designator starts with.
pub(super) fn kind(designator: &str) -> PartKind {
    let end = designator.find(|c: char| !c.is_ascii_alphabetic()).unwrap_or(designator.len());
    let letters = designator.get(..end).unwrap_or_default().to_ascii_uppercase();
    match letters.as_str() {
        "R" | "RN" | "RV" | "RT" => PartKind::Resistor,
        "C" => PartKind::Capacitor,
        "L" | "FB" | "T" | "TR" => PartKind::Winding,
        "D" | "LED" | "CR" | "ZD" => PartKind::Diode,
        "Q" | "V" | "VT" => PartKind::Transistor,
        "U" | "IC" | "VR" => PartKind::Circuit,
        "J" | "P" | "CN" | "X" | "F" | "S" | "SW" | "K" => PartKind::Contact,
        _ => PartKind::Other,
    }
}
