//! What each part may reach, from its datasheet: the limits file.

use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};

use super::length::DecimalSign;
use super::table::{BoardFileError, Column, Row, Spellings, read_table};
use crate::units::{Kelvin, TemperatureUnit, Watts};

/// The published figure that leads from case to junction, in K/W.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "figure", rename_all = "kebab-case")]
pub enum ThermalPath {
    /// psi-JT, junction to top centre, for the part's whole power (JESD51-2A).
    PsiJunctionTop {
        /// K/W.
        kelvin_per_watt: f64,
    },
    /// theta-JC, junction to case, where all heat leaves by that face: an upper bound otherwise.
    ThetaJunctionCase {
        /// K/W.
        kelvin_per_watt: f64,
    },
}

/// The limits of one part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartLimit {
    /// Reference designator.
    pub designator: String,
    /// Highest case temperature allowed.
    pub max_case: Option<Kelvin>,
    /// Highest junction temperature allowed.
    pub max_junction: Option<Kelvin>,
    /// Dissipated power in the test.
    pub power: Option<Watts>,
    /// From case to junction.
    pub path: Option<ThermalPath>,
}

/// What a limits file left open or said twice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum LimitWarning {
    /// A designator stands on more than one line; the first counts.
    DuplicateDesignator {
        /// The designator.
        designator: String,
        /// The line left out.
        line: u64,
    },
    /// A junction limit that cannot be checked: power, or the figure from case to junction, is missing.
    JunctionUnchecked {
        /// The designators.
        designators: Vec<String>,
    },
    /// Both psi-JT and theta-JC are given; psi-JT is used.
    BothPaths {
        /// The designators.
        designators: Vec<String>,
    },
    /// A temperature column whose heading states no unit, read as °C.
    CelsiusAssumed,
}

impl fmt::Display for LimitWarning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DuplicateDesignator { designator, line } => {
                write!(f, "{designator} stands twice: line {line} is left out")
            }
            Self::JunctionUnchecked { designators } => write!(
                f,
                "the junction limit of {} cannot be checked: state power and psi-JT (or theta-JC)",
                designators.join(", ")
            ),
            Self::BothPaths { designators } => {
                write!(f, "both psi-JT and theta-JC given for {}: psi-JT is used", designators.join(", "))
            }
            Self::CelsiusAssumed => write!(f, "a heading states no temperature unit: read as °C"),
        }
    }
}

const DESIGNATOR: Spellings =
    &["designator", "refdes", "referencedesignator", "reference", "ref", "part", "name"];
const MAX_CASE: Spellings = &[
    "maxcase",
    "maxcasetemperature",
    "casemax",
    "caselimit",
    "tcmax",
    "maxtc",
    "maxsurface",
    "surfacelimit",
];
const MAX_JUNCTION: Spellings =
    &["maxjunction", "maxjunctiontemperature", "junctionmax", "junctionlimit", "tjmax", "maxtj"];
const POWER: Spellings = &["power", "dissipation", "powerdissipation", "pd", "p"];
const PSI: Spellings = &["psijt", "ψjt", "psi"];
const THETA: Spellings = &["thetajctop", "thetajc", "θjc", "rthjc", "rthetajc", "theta"];
const TEMPERATURES: Spellings = &["degc", "c", "celsius", "degf", "f", "fahrenheit", "k", "kelvin"];
const WATTS: Spellings = &["w", "watt", "watts", "mw"];
const KELVIN_PER_WATT: Spellings = &["kperw", "kw", "degcperw", "cperw", "cw", "degcw"];

/// Reads a limits file: one line per part, under a line of headings.
///
/// Columns: designator, and any of `max_case_degC`, `max_junction_degC`, `power_W`, `psi_jt_K_per_W`,
/// `theta_jc_K_per_W`. A temperature heading may end in degC, degF or K, a power heading in W or mW.
/// An empty cell states nothing.
///
/// # Errors
/// Every [`BoardFileError`] but [`UnitUnstated`](BoardFileError::UnitUnstated); each names the file.
pub fn parse_limits(
    file_name: &str,
    text: &str,
) -> Result<(Vec<PartLimit>, Vec<LimitWarning>), BoardFileError> {
    let no_headings = || BoardFileError::NoHeadings {
        file_name: file_name.to_owned(),
        needed: "designator and at least one of max_case_degC and max_junction_degC",
    };
    let table = read_table(text, &[DESIGNATOR, MAX_CASE], TEMPERATURES)
        .or_else(|| read_table(text, &[DESIGNATOR, MAX_JUNCTION], TEMPERATURES))
        .ok_or_else(no_headings)?;
    let designator_column = table.column(DESIGNATOR, &[]);
    let max_case = table.column(MAX_CASE, TEMPERATURES);
    let max_junction = table.column(MAX_JUNCTION, TEMPERATURES);
    let power = table.column(POWER, WATTS);
    let psi = table.column(PSI, KELVIN_PER_WATT);
    let theta = table.column(THETA, KELVIN_PER_WATT);

    let mut warnings = Vec::new();
    if [&max_case, &max_junction].into_iter().flatten().any(|column| column.rest.is_empty()) {
        warnings.push(LimitWarning::CelsiusAssumed);
    }
    let mut limits = Vec::new();
    let mut seen = BTreeSet::new();
    let (mut unchecked, mut both_paths) = (Vec::new(), Vec::new());
    for row in table.rows() {
        let designator = row.cell(designator_column.as_ref());
        if designator.is_empty() {
            continue;
        }
        if !seen.insert(designator.to_owned()) {
            let designator = designator.to_owned();
            warnings.push(LimitWarning::DuplicateDesignator { designator, line: row.line });
            continue;
        }
        let cells = Cells { file_name, row, designator };
        let psi = cells.kelvin_per_watt(psi.as_ref(), "psi-JT")?;
        let theta = cells.kelvin_per_watt(theta.as_ref(), "theta-JC")?;
        if psi.is_some() && theta.is_some() {
            both_paths.push(designator.to_owned());
        }
        let path = psi
            .map(|kelvin_per_watt| ThermalPath::PsiJunctionTop { kelvin_per_watt })
            .or_else(|| theta.map(|kelvin_per_watt| ThermalPath::ThetaJunctionCase { kelvin_per_watt }));
        let limit = PartLimit {
            designator: designator.to_owned(),
            max_case: cells.temperature(max_case.as_ref(), "highest case temperature")?,
            max_junction: cells.temperature(max_junction.as_ref(), "highest junction temperature")?,
            power: cells.power(power.as_ref())?,
            path,
        };
        if limit.max_junction.is_some() && (limit.power.is_none() || limit.path.is_none()) {
            unchecked.push(designator.to_owned());
        }
        limits.push(limit);
    }
    if limits.is_empty() {
        return Err(BoardFileError::NoParts { file_name: file_name.to_owned() });
    }
    if !unchecked.is_empty() {
        warnings.push(LimitWarning::JunctionUnchecked { designators: unchecked });
    }
    if !both_paths.is_empty() {
        warnings.push(LimitWarning::BothPaths { designators: both_paths });
    }
    Ok((limits, warnings))
}

/// One line and what its errors say of it.
struct Cells<'a> {
    file_name: &'a str,
    row: Row<'a>,
    designator: &'a str,
}

impl Cells<'_> {
    fn temperature(
        &self,
        column: Option<&Column>,
        name: &'static str,
    ) -> Result<Option<Kelvin>, BoardFileError> {
        let unit = match column.map_or("", |column| column.rest.as_str()) {
            "degf" | "f" | "fahrenheit" => TemperatureUnit::Fahrenheit,
            "k" | "kelvin" => TemperatureUnit::Kelvin,
            _ => TemperatureUnit::Celsius,
        };
        self.number(column, name, "write a temperature such as 105, above absolute zero", |value| {
            Kelvin::new(unit.read(value)).ok()
        })
    }

    fn power(&self, column: Option<&Column>) -> Result<Option<Watts>, BoardFileError> {
        let scale = if column.is_some_and(|column| column.rest == "mw") { 1e-3 } else { 1.0 };
        self.number(column, "power", "write a power of zero or more, such as 0.51", |value| {
            Watts::new(value * scale).ok()
        })
    }

    fn kelvin_per_watt(
        &self,
        column: Option<&Column>,
        name: &'static str,
    ) -> Result<Option<f64>, BoardFileError> {
        self.number(column, name, "write a number of kelvin per watt of zero or more, such as 6.1", |value| {
            (value >= 0.0).then_some(value)
        })
    }

    fn number<T>(
        &self,
        column: Option<&Column>,
        name: &'static str,
        what: &'static str,
        check: impl Fn(f64) -> Option<T>,
    ) -> Result<Option<T>, BoardFileError> {
        let text = self.row.cell(column);
        if text.is_empty() || text == "-" {
            return Ok(None);
        }
        let value = DecimalSign::of([text]).read(text).filter(|(_, rest)| rest.is_empty());
        let checked = value.and_then(|(value, _)| check(value));
        checked.map(Some).ok_or_else(|| BoardFileError::Cell {
            file_name: self.file_name.to_owned(),
            line: self.row.line,
            column: name,
            designator: self.designator.to_owned(),
            text: text.to_owned(),
            what,
        })
    }
}
