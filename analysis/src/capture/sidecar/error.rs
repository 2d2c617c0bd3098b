//! What can be wrong with a sidecar, and what is merely odd.

/// A sidecar that cannot be used. Every text names the file, the field, and what it must be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SidecarError {
    /// The text is not JSON.
    #[error(
        "{file_name}: this is not readable JSON ({what}). Mend that place, or remove the file and state the metadata in the page"
    )]
    NotJson {
        /// The file.
        file_name: String,
        /// What, with line and column.
        what: String,
    },
    /// The text is JSON of another kind, or of another version.
    #[error(
        "{file_name}: \"boardglow_sidecar\" is {found}, but this program reads version 1. Add \"boardglow_sidecar\": 1 if the file describes a capture"
    )]
    Version {
        /// The file.
        file_name: String,
        /// What stands in its place.
        found: String,
    },
    /// A field holds another kind of value.
    #[error("{file_name}: \"{field}\" is {value}, but must be {expected}")]
    WrongType {
        /// The file.
        file_name: String,
        /// The field, with the objects it lies in.
        field: String,
        /// The value found.
        value: String,
        /// What it must be.
        expected: &'static str,
    },
    /// A number that the field cannot take.
    #[error("{file_name}: \"{field}\" is {value}, out of range: it must be {allowed}")]
    OutOfRange {
        /// The file.
        file_name: String,
        /// The field, with the objects it lies in.
        field: String,
        /// The value found.
        value: String,
        /// The range.
        allowed: &'static str,
    },
    /// A field without which another has no meaning.
    #[error("{file_name}: \"{field}\" is missing: {reason}")]
    Missing {
        /// The file.
        file_name: String,
        /// The field, with the objects it lies in.
        field: String,
        /// Why it is needed.
        reason: &'static str,
    },
}

/// Something odd in a sidecar that is used all the same.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SidecarWarning {
    /// A field of unknown name, which has no effect.
    #[error("{file_name}: \"{field}\" is no known field and was ignored{}", suggestion(closest.as_deref()))]
    UnknownField {
        /// The file.
        file_name: String,
        /// The field, with the objects it lies in.
        field: String,
        /// The known field whose name is nearest, if any is near.
        closest: Option<String>,
    },
    /// A known field that has no meaning beside the others.
    #[error("{file_name}: \"{field}\" was ignored: {reason}")]
    Ignored {
        /// The file.
        file_name: String,
        /// The field.
        field: String,
        /// Why.
        reason: &'static str,
    },
}

fn suggestion(closest: Option<&str>) -> String {
    closest.map_or_else(String::new, |name| format!("; was \"{name}\" meant?"))
}

/// Metadata that no sidecar can state.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SidecarWriteError {
    /// A number that is not finite.
    #[error("\"{field}\" is not a finite number and cannot be written: state it again")]
    NotFinite {
        /// The field, with the objects it lies in.
        field: String,
    },
    /// A value that would be refused when read again.
    #[error("the metadata cannot be written: {0}")]
    Refused(#[from] SidecarError),
    /// The encoder failed.
    #[error("the metadata cannot be written as JSON ({0})")]
    Encoding(String),
}
