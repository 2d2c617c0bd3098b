//! The emissivity a person states: one value for the whole picture, and regions laid over it in order.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::content_hash::ContentHash;
use crate::geometry::{BaselinePixels, BoardMillimeters};
use crate::surface::material::{SOLDER_MASK, material};
use crate::surface::outline::Outline;
use crate::units::Emissivity;

/// An emissivity with its uncertainty and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Finish {
    /// Emissivity in the camera's band.
    pub emissivity: Emissivity,
    /// Standard uncertainty of the emissivity (k = 1).
    pub uncertainty: f64,
    /// The key of a row of the material table, where the value was taken from one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<String>,
    /// How the value was measured, where it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub measured: Option<Measured>,
}

impl Finish {
    /// A value of one's own, with nothing behind it but the person's word.
    #[must_use]
    pub const fn stated(emissivity: Emissivity, uncertainty: f64) -> Self {
        Self { emissivity, uncertainty, material: None, measured: None }
    }

    /// Where emissivity and uncertainty come from; `None` where it is only the person's word.
    ///
    /// What was changed by hand since is told: the source does not stand behind it.
    #[must_use]
    pub fn source(&self) -> Option<String> {
        let (mut words, emissivity, uncertainty) =
            match (&self.measured, self.material.as_deref().and_then(material)) {
                (Some(measured), _) => (measured.to_string(), measured.emissivity, measured.uncertainty),
                (None, Some(row)) => {
                    (format!("{}: {}", row.name, row.source), row.emissivity, row.uncertainty)
                }
                (None, None) => return None,
            };
        if self.emissivity != emissivity {
            words.push_str(&format!("; emissivity changed by hand from {:.3}", emissivity.value()));
        }
        if self.uncertainty != uncertainty {
            words.push_str(&format!("; uncertainty changed by hand from {uncertainty:.3}"));
        }
        Some(words)
    }
}

/// A value that was measured at the bench: how, where, and what came out. The record itself may be gone by then.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// The procedure's name.
    pub procedure: String,
    /// The part or place that was measured, in the person's words; may be empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub place: String,
    /// Repeats that the value is the mean of; `None` where it was worked out from a shape.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeats: Option<usize>,
    /// The emissivity that came out.
    pub emissivity: Emissivity,
    /// Its standard uncertainty, k = 1.
    pub uncertainty: f64,
}

impl fmt::Display for Measured {
    /// Measured at the bench: emissivity, against a contact thermometer, at U3, 3 repeats.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Measured at the bench: {}", self.procedure)?;
        if !self.place.is_empty() {
            write!(f, ", at {}", self.place)?;
        }
        match self.repeats {
            Some(1) => write!(f, ", 1 repeat"),
            Some(repeats) => write!(f, ", {repeats} repeats"),
            None => Ok(()),
        }
    }
}

/// An outline in the plane that it was drawn in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "plane", rename_all = "kebab-case")]
pub enum PlacedOutline {
    /// In pixels of the baseline.
    Pixels(Outline<BaselinePixels>),
    /// In millimetres on the board: follows the board wherever it lies in the picture.
    Board(Outline<BoardMillimeters>),
}

/// A part of the surface with a finish of its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Region {
    /// What the person calls it.
    pub name: String,
    /// Where it is.
    pub outline: PlacedOutline,
    /// What it is made of.
    pub finish: Finish,
}

/// The whole statement about the surface. Later regions lie on top of earlier ones.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Surface {
    /// Where no region lies.
    pub whole: Finish,
    /// An emissivity picture that replaces `whole` where it is valid: the hash of its file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub map: Option<ContentHash>,
    /// The standard uncertainty of `map`, where there is one: the hash of its file.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub map_uncertainty: Option<ContentHash>,
    /// Regions, bottom first.
    #[serde(default)]
    pub regions: Vec<Region>,
}

impl Default for Surface {
    /// Solder mask all over: most of most boards.
    fn default() -> Self {
        Self { whole: SOLDER_MASK.finish(), map: None, map_uncertainty: None, regions: Vec::new() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn measured() -> Finish {
        let emissivity = Emissivity::new(0.881).unwrap();
        let measured = Measured {
            procedure: "Emissivity, against a contact thermometer".to_owned(),
            place: "U3".to_owned(),
            repeats: Some(3),
            emissivity,
            uncertainty: 0.012,
        };
        Finish { measured: Some(measured), ..Finish::stated(emissivity, 0.012) }
    }

    #[test]
    fn a_measured_value_keeps_its_origin_and_tells_what_was_changed_since() {
        let said = measured().source().unwrap();
        assert!(
            said.contains("contact thermometer") && said.contains("U3") && said.contains("3 repeats"),
            "{said}"
        );
        assert!(!said.contains("by hand"), "{said}");
        let said = Finish { uncertainty: 0.03, ..measured() }.source().unwrap();
        assert!(said.contains("uncertainty changed by hand from 0.012"), "{said}");
        assert_eq!(Finish::stated(measured().emissivity, 0.012).source(), None);
    }

    #[test]
    fn a_finish_written_before_origins_were_kept_is_read() {
        let read: Finish = serde_json::from_str(r#"{"emissivity":0.9,"uncertainty":0.02}"#).unwrap();
        assert_eq!(read, Finish::stated(Emissivity::new(0.9).unwrap(), 0.02));
    }
}
