//! Set-points of a black body and the counts a camera gave for them, from a table.

use crate::units::{Kelvin, TemperatureUnit};

/// One set-point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SetPoint {
    /// Temperature of the black body.
    pub temperature: Kelvin,
    /// Counts of the camera, the mean over the aperture's picture.
    pub counts: f64,
}

/// Why a table holds no set-points.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SetPointsUnreadable {
    /// A column is missing.
    #[error(
        "{file_name}: no column of {what} among \"{headings}\"; name the two columns \"temperature (°C)\" and \
         \"counts\" in the first line"
    )]
    NoColumn {
        /// The file.
        file_name: String,
        /// What was looked for.
        what: &'static str,
        /// The headings found.
        headings: String,
    },
    /// The unit of the temperatures is nowhere said.
    #[error(
        "{file_name}: the heading \"{heading}\" has no unit: write \"(°C)\", \"(°F)\" or \"(K)\" behind it"
    )]
    NoUnit {
        /// The file.
        file_name: String,
        /// The heading of the temperatures.
        heading: String,
    },
    /// A line that cannot be read.
    #[error("{file_name}, line {line}: {what}")]
    Line {
        /// The file.
        file_name: String,
        /// Which line, counted from 1.
        line: u64,
        /// What is wrong with it.
        what: String,
    },
}

const TEMPERATURE: [&str; 5] = ["temp", "set", "black", "kelvin", "celsius"];
const COUNTS: [&str; 6] = ["count", "signal", "raw", "digit", "reading", "output"];

/// Reads a table whose first line names its columns: one with the black body's temperature (a heading that holds
/// "temperature", "set-point" or "black body"), one with "counts", "signal", "raw" or the like; further columns are
/// left alone. Comma, semicolon or tab between cells; with the latter two a decimal comma is read as well.
///
/// `stated` is the temperatures' unit where the heading holds none.
///
/// # Errors
/// [`SetPointsUnreadable`], which names the file, the line and what to do.
pub fn read_set_points(
    file_name: &str,
    text: &str,
    stated: Option<TemperatureUnit>,
) -> Result<Vec<SetPoint>, SetPointsUnreadable> {
    let text = text.trim_start_matches('\u{feff}');
    let first = text.lines().next().unwrap_or_default();
    let delimiter = [b'\t', b';'].into_iter().find(|&d| first.contains(char::from(d))).unwrap_or(b',');
    let unreadable = |line: Option<u64>, what: String| SetPointsUnreadable::Line {
        file_name: file_name.to_owned(),
        line: line.unwrap_or(1),
        what,
    };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let headings = reader
        .headers()
        .map_err(|error| unreadable(error.position().map(csv::Position::line), error.to_string()))?
        .clone();
    let column = |what: &'static str, words: &[&str], other: Option<usize>| {
        headings
            .iter()
            .position(|heading| words.iter().any(|word| heading.to_lowercase().contains(word)))
            .filter(|found| Some(*found) != other)
            .ok_or_else(|| SetPointsUnreadable::NoColumn {
                file_name: file_name.to_owned(),
                what,
                headings: headings.iter().collect::<Vec<_>>().join(", "),
            })
    };
    let counts = column("counts", &COUNTS, None)?;
    let temperature = column("temperatures", &TEMPERATURE, Some(counts))?;
    let heading = headings.get(temperature).unwrap_or_default();
    let unit = unit_in(heading).or(stated).ok_or_else(|| SetPointsUnreadable::NoUnit {
        file_name: file_name.to_owned(),
        heading: heading.to_owned(),
    })?;
    let mut points = Vec::new();
    for record in reader.records() {
        let record = record
            .map_err(|error| unreadable(error.position().map(csv::Position::line), error.to_string()))?;
        let line = record.position().map(csv::Position::line);
        if record.iter().all(str::is_empty) {
            continue;
        }
        let number = |index: usize| {
            let cell = record.get(index).unwrap_or_default();
            let plain = if delimiter == b',' { cell.to_owned() } else { cell.replace(',', ".") };
            plain
                .parse::<f64>()
                .ok()
                .filter(|number| number.is_finite())
                .ok_or_else(|| unreadable(line, format!("\"{cell}\" is not a number")))
        };
        let temperature = Kelvin::new(unit.read(number(temperature)?))
            .map_err(|error| unreadable(line, error.to_string()))?;
        points.push(SetPoint { temperature, counts: number(counts)? });
    }
    Ok(points)
}

/// The unit that a heading names, behind its last bracket, space or underscore.
fn unit_in(heading: &str) -> Option<TemperatureUnit> {
    let lower = heading.to_lowercase();
    let word =
        lower.trim_end_matches([')', ']']).rsplit(['(', '[', ' ', '_', ',', '/']).next().unwrap_or_default();
    match word {
        "°c" | "degc" | "c" | "celsius" => Some(TemperatureUnit::Celsius),
        "°f" | "degf" | "f" | "fahrenheit" => Some(TemperatureUnit::Fahrenheit),
        "k" | "kelvin" => Some(TemperatureUnit::Kelvin),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_columns_and_decimal_commas_are_read_as_written() {
        for (text, kelvin) in [
            ("counts,Set temperature (°C)\n8171,5.5\n", 278.65),
            ("Blackbody [K];note;Signal\n278,65;\"a\";8171\n", 278.65),
            ("setpoint_F\traw\n41,9\t8171\n\t\n", 278.65),
        ] {
            let points = read_set_points("points.csv", text, None).unwrap();
            assert_eq!(points.len(), 1, "{text}");
            assert!((points[0].temperature.value() - kelvin).abs() < 1e-9, "{text}: {points:?}");
            assert_eq!(points[0].counts, 8171.0);
        }
    }

    #[test]
    fn what_is_missing_is_named() {
        let read = |text: &str| read_set_points("points.csv", text, None).unwrap_err().to_string();
        assert!(read("time,counts\n1,2\n").contains("no column of temperatures among \"time, counts\""));
        assert!(read("temperature,counts\n20,2\n").contains("\"temperature\" has no unit"));
        assert!(
            read("temperature (K),counts\n300,12\n310,many\n").starts_with("points.csv, line 3: \"many\"")
        );
        assert!(read("temperature (K),counts\n-3,12\n").contains("above 0 K"));
        assert!(read("").contains("no column of counts"));
        let stated =
            read_set_points("p", "temperature,counts\n20,2\n", Some(TemperatureUnit::Celsius)).unwrap();
        assert!((stated[0].temperature.value() - 293.15).abs() < 1e-9);
    }
}
