//! The findings as numbers for another program: `answer.json`.

use serde::Serialize;

use crate::comparison::Comparison;
use crate::inspection::Finding;

/// One unit's part of the answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UnitAnswer {
    /// The unit, by the stem of its capture's file name.
    pub name: String,
    /// File name of the unit's surface temperature, kelvin.
    pub temperature_map: String,
    /// In whose pixels that map lies: always `"baseline"`.
    pub frame: &'static str,
    /// Unit pixels to baseline pixels, nine numbers row by row.
    pub homography: [f64; 9],
    /// What differs, most significant first.
    pub findings: Vec<FindingAnswer>,
}

/// One finding of a [`UnitAnswer`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingAnswer {
    /// Centre, baseline pixels to the right.
    pub cx: f64,
    /// Centre, baseline pixels down.
    pub cy: f64,
    /// Pixels.
    pub area_px: u32,
    /// The largest difference with its sign, kelvin.
    #[serde(rename = "delta_K")]
    pub delta_kelvin: f64,
    /// The part it belongs to.
    pub designator: Option<String>,
}

impl From<&Finding> for FindingAnswer {
    fn from(finding: &Finding) -> Self {
        Self {
            cx: finding.centroid.x,
            cy: finding.centroid.y,
            area_px: finding.area_px,
            delta_kelvin: finding.peak.value(),
            designator: finding.designator.clone(),
        }
    }
}

impl UnitAnswer {
    /// The answer for the unit `name`, whose temperature is kept in the file `temperature_map`.
    #[must_use]
    pub fn new(name: &str, temperature_map: &str, comparison: &Comparison) -> Self {
        Self {
            name: name.to_owned(),
            temperature_map: temperature_map.to_owned(),
            frame: "baseline",
            homography: comparison.alignment.homography.clone().into(),
            findings: comparison.findings.iter().map(FindingAnswer::from).collect(),
        }
    }
}

/// The text of `answer.json` for several units.
///
/// # Errors
/// A number that has no JSON form.
pub fn answer_json(units: &[UnitAnswer]) -> Result<String, serde_json::Error> {
    #[derive(Serialize)]
    struct Answer<'a> {
        units: &'a [UnitAnswer],
    }
    serde_json::to_string_pretty(&Answer { units })
}
