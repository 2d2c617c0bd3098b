//! The fields of one JSON object, taken one by one so that every error names its field and whatever
//! was not taken is known to be unknown.

use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use super::error::{SidecarError, SidecarWarning};

/// The largest distance in letters at which a name still counts as a slip of the pen.
const NEAR: usize = 3;

pub(super) struct Fields<'a> {
    file_name: &'a str,
    path: String,
    object: &'a Map<String, Value>,
    known: Vec<&'static str>,
}

impl<'a> Fields<'a> {
    pub(super) fn new(file_name: &'a str, path: String, object: &'a Map<String, Value>) -> Self {
        Self { file_name, path, object, known: Vec::new() }
    }

    /// The value of a field; `null` counts as absent.
    pub(super) fn value(&mut self, name: &'static str) -> Option<&'a Value> {
        self.known.push(name);
        self.object.get(name).filter(|value| !value.is_null())
    }

    /// A value of any type that JSON can be read into.
    pub(super) fn read<T: DeserializeOwned>(
        &mut self,
        name: &'static str,
        expected: &'static str,
    ) -> Result<Option<T>, SidecarError> {
        let Some(value) = self.value(name) else { return Ok(None) };
        match T::deserialize(value) {
            Ok(read) => Ok(Some(read)),
            Err(_) => Err(self.wrong_type(name, value, expected)),
        }
    }

    /// A number within a range.
    pub(super) fn number(
        &mut self,
        name: &'static str,
        allowed: &'static str,
        check: impl FnOnce(f64) -> bool,
    ) -> Result<Option<f64>, SidecarError> {
        self.quantity(name, allowed, |number| check(number).then_some(number))
    }

    /// A number made into a quantity, where it is within its range.
    pub(super) fn quantity<T>(
        &mut self,
        name: &'static str,
        allowed: &'static str,
        make: impl FnOnce(f64) -> Option<T>,
    ) -> Result<Option<T>, SidecarError> {
        let Some(number) = self.read::<f64>(name, "a number")? else { return Ok(None) };
        make(number).map(Some).ok_or_else(|| self.out_of_range(name, number, allowed))
    }

    /// Free text, empty where absent.
    pub(super) fn text(&mut self, name: &'static str) -> Result<String, SidecarError> {
        Ok(self.read(name, "text in quotes")?.unwrap_or_default())
    }

    /// A nested object.
    pub(super) fn object(&mut self, name: &'static str) -> Result<Option<Fields<'a>>, SidecarError> {
        let Some(value) = self.value(name) else { return Ok(None) };
        match value.as_object() {
            Some(object) => Ok(Some(Fields::new(self.file_name, format!("{}.", self.field(name)), object))),
            None => Err(self.wrong_type(name, value, "an object in braces")),
        }
    }

    /// A list of nested objects.
    pub(super) fn objects(&mut self, name: &'static str) -> Result<Vec<Fields<'a>>, SidecarError> {
        let Some(value) = self.value(name) else { return Ok(Vec::new()) };
        let expected = "a list of objects in braces";
        let list = value.as_array().ok_or_else(|| self.wrong_type(name, value, expected))?;
        let nested = list.iter().enumerate().map(|(index, value)| match value.as_object() {
            Some(object) => {
                Ok(Fields::new(self.file_name, format!("{}[{index}].", self.field(name)), object))
            }
            None => Err(self.wrong_type(name, value, expected)),
        });
        nested.collect()
    }

    /// Warns of every field that nobody asked for.
    pub(super) fn finish(self, warnings: &mut Vec<SidecarWarning>) {
        for name in self.object.keys().filter(|name| !self.known.contains(&name.as_str())) {
            let distance =
                |known: &str| strsim::damerau_levenshtein(&name.to_lowercase(), &known.to_lowercase());
            let nearest = self.known.iter().map(|known| (distance(known), *known)).min();
            let closest = nearest
                .filter(|(distance, known)| *distance <= NEAR && *distance * 2 < known.len())
                .map(|(_, known)| known.to_owned());
            warnings.push(SidecarWarning::UnknownField {
                file_name: self.file_name.to_owned(),
                field: self.field(name),
                closest,
            });
        }
    }

    pub(super) fn field(&self, name: &str) -> String {
        format!("{}{name}", self.path)
    }

    pub(super) fn wrong_type(&self, name: &str, value: &Value, expected: &'static str) -> SidecarError {
        SidecarError::WrongType {
            file_name: self.file_name.to_owned(),
            field: self.field(name),
            value: shorten(value),
            expected,
        }
    }

    pub(super) fn out_of_range(
        &self,
        name: &str,
        value: impl std::fmt::Display,
        allowed: &'static str,
    ) -> SidecarError {
        SidecarError::OutOfRange {
            file_name: self.file_name.to_owned(),
            field: self.field(name),
            value: value.to_string(),
            allowed,
        }
    }

    pub(super) fn missing(&self, name: &str, reason: &'static str) -> SidecarError {
        SidecarError::Missing { file_name: self.file_name.to_owned(), field: self.field(name), reason }
    }

    pub(super) fn ignored(&self, name: &str, reason: &'static str) -> SidecarWarning {
        SidecarWarning::Ignored { file_name: self.file_name.to_owned(), field: self.field(name), reason }
    }
}

pub(super) fn shorten(value: &Value) -> String {
    const SHOWN: usize = 40;
    let text = value.to_string();
    let shown: String = text.chars().take(SHOWN).collect();
    if shown.len() < text.len() { format!("{shown}…") } else { shown }
}
