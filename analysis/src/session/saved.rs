//! A session on disk: JSON with a schema version, migrated on the way in.
//!
//! Writing is byte-stable: reading a saved session and saving it again gives the same bytes.

use serde_json::Value;

use super::Session;
use crate::uncertainty::InputUncertainty;

/// The schema this version writes.
pub const SCHEMA: u64 = 5;

/// Why a saved session cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum SavedError {
    /// Not JSON, or not of the schema's shape.
    #[error("the saved session is damaged: {0}")]
    Malformed(#[from] serde_json::Error),
    /// The schema version is missing or no number.
    #[error("this is no saved session: it states no schema version")]
    NoSchema,
    /// Written by a later version.
    #[error(
        "the session was saved with schema {found}; this version reads up to {SCHEMA}: open it with a newer version"
    )]
    TooNew {
        /// The version found.
        found: u64,
    },
}

/// The session as JSON text, one field a line.
///
/// # Errors
/// [`SavedError::Malformed`] when a number in the session has no JSON form.
pub fn save(session: &Session) -> Result<String, SavedError> {
    let mut value = serde_json::to_value(session)?;
    if let Value::Object(fields) = &mut value {
        fields.insert("schema".to_owned(), SCHEMA.into());
    }
    Ok(serde_json::to_string_pretty(&value)?)
}

/// Reads what [`save`] wrote, in this or an earlier schema.
///
/// # Errors
/// Every [`SavedError`].
pub fn load(text: &str) -> Result<Session, SavedError> {
    let mut value: Value = serde_json::from_str(text)?;
    let schema =
        value.as_object_mut().and_then(|fields| fields.remove("schema")).and_then(|schema| schema.as_u64());
    let found = schema.ok_or(SavedError::NoSchema)?;
    if found > SCHEMA {
        return Err(SavedError::TooNew { found });
    }
    Ok(serde_json::from_value(migrate(value, found))?)
}

/// Brings a saved session from schema `from` to [`SCHEMA`], one version a step.
fn migrate(mut value: Value, from: u64) -> Value {
    let Value::Object(fields) = &mut value else { return value };
    // Schema 0 was never released; its shape is that of 1 without `landmark_use`.
    if from < 1 {
        fields.entry("landmark_use").or_insert_with(|| "start".into());
    }
    // Schema 1 knew of no uncertainties but those of emissivities, and of no procedures.
    if from < 2 {
        let usual = serde_json::to_value(InputUncertainty::default()).unwrap_or_default();
        fields.entry("input_uncertainty").or_insert(usual);
        fields.entry("repeatability").or_insert(Value::Null);
        fields.entry("procedures").or_insert_with(|| Value::Array(Vec::new()));
    }
    // Schema 2 knew of one unit only.
    if from < 3 {
        fields.entry("other_units").or_insert_with(|| Value::Array(Vec::new()));
    }
    // Schema 3 knew of no outline, no parts of one kind and no junctions, schema 4 of no recordings; what they lack
    // has a default.
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn saving_what_was_loaded_gives_the_same_bytes() {
        let text = save(&Session::default()).unwrap();
        assert_eq!(save(&load(&text).unwrap()).unwrap(), text);
    }

    #[test]
    fn an_older_schema_is_brought_up_to_date() {
        let mut value: Value = serde_json::from_str(&save(&Session::default()).unwrap()).unwrap();
        value["schema"] = 0.into();
        for later in ["landmark_use", "input_uncertainty", "procedures", "repeatability", "other_units"] {
            value.as_object_mut().unwrap().remove(later);
        }
        assert_eq!(load(&value.to_string()).unwrap(), Session::default());
    }

    #[test]
    fn a_session_from_the_future_is_refused_with_advice() {
        let text =
            save(&Session::default()).unwrap().replace(&format!("\"schema\": {SCHEMA}"), "\"schema\": 99");
        assert!(matches!(load(&text), Err(SavedError::TooNew { found: 99 })));
        assert!(matches!(load("{}"), Err(SavedError::NoSchema)));
        assert!(matches!(load("{"), Err(SavedError::Malformed(_))));
    }
}
