//! From metadata to a sidecar's text.

use serde::Serialize;
use serde_json::{Value, json};

use crate::capture::frame_times::{BenchEvent, FrameTimes};
use crate::capture::metadata::{
    BoardIdentity, CaptureMetadata, PageChoice, Quantity, QuantityName, StatedQuantity, TestConditions,
};
use crate::radiometry::{Band, Calibration, Correction};
use crate::units::{Kelvin, TemperatureUnit};

use super::error::SidecarWriteError;
use super::read::{VERSION, parse_sidecar};

/// The sidecar that [`parse_sidecar`] reads as this metadata again, as JSON with a field per line.
///
/// Numbers come back to the last bit; so do temperatures from -130 to 230 °C and a NETD that was stated
/// in millikelvin. Others, where the steps of the two scales differ, may lose that bit.
///
/// # Errors
/// [`SidecarWriteError`] when a number is not finite, or out of the range its field may have.
pub fn write_sidecar(metadata: &CaptureMetadata) -> Result<String, SidecarWriteError> {
    let file = SidecarFile::new(metadata);
    let encoding = |error: serde_json::Error| SidecarWriteError::Encoding(error.to_string());
    let value = serde_json::to_value(&file).map_err(encoding)?;
    // JSON has no other sign for a number that is not finite, and absent fields are left out.
    if let Some(field) = find_null(&value) {
        return Err(SidecarWriteError::NotFinite { field });
    }
    let text = serde_json::to_string_pretty(&file).map_err(encoding)?;
    parse_sidecar("sidecar", &text)?;
    Ok(text)
}

/// The file, its fields in the order they are written.
#[derive(Serialize)]
struct SidecarFile<'a> {
    boardglow_sidecar: u64,
    #[serde(flatten)]
    stated: WrittenQuantity,
    #[serde(skip_serializing_if = "Option::is_none")]
    band_um: Option<Band>,
    #[serde(rename = "netd_mK", skip_serializing_if = "Option::is_none")]
    netd_millikelvin: Option<f64>,
    #[serde(rename = "ambient_degC", skip_serializing_if = "Option::is_none")]
    ambient_celsius: Option<f64>,
    #[serde(rename = "reflected_degC", skip_serializing_if = "Option::is_none")]
    reflected_celsius: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    distance_m: Option<f64>,
    #[serde(skip_serializing_if = "str::is_empty")]
    time: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    pixel_pitch_mm: Option<f64>,
    #[serde(skip_serializing_if = "is_first")]
    page: PageChoice,
    #[serde(skip_serializing_if = "Option::is_none")]
    frame_interval_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    frame_times_s: Option<&'a [f64]>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    events: Vec<WrittenEvent<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    test: Option<WrittenConditions<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    board: Option<&'a BoardIdentity>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    corners: Vec<Value>,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    stuck_pixels: &'a [[u32; 2]],
    #[serde(skip_serializing_if = "Option::is_none")]
    saturated_at: Option<f64>,
    #[serde(skip_serializing_if = "str::is_empty")]
    notes: &'a str,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    invented: bool,
}

fn is_first(page: &PageChoice) -> bool {
    *page == PageChoice::First
}

impl<'a> SidecarFile<'a> {
    fn new(metadata: &'a CaptureMetadata) -> Self {
        let corners = metadata.corners.iter();
        Self {
            boardglow_sidecar: VERSION,
            stated: WrittenQuantity::new(metadata),
            band_um: metadata.band,
            netd_millikelvin: metadata.netd.map(|netd| {
                let netd = netd.value();
                decimal_that_reads_as(netd, netd * 1000.0, |millikelvin| millikelvin / 1000.0)
            }),
            ambient_celsius: metadata.ambient.map(celsius),
            reflected_celsius: metadata.reflected.map(celsius),
            distance_m: metadata.distance,
            time: &metadata.time,
            pixel_pitch_mm: metadata.pixel_pitch.map(f64::from),
            page: metadata.page,
            frame_interval_s: match metadata.frame_times {
                Some(FrameTimes::Interval(interval)) => Some(interval),
                _ => None,
            },
            frame_times_s: match &metadata.frame_times {
                Some(FrameTimes::Each(times)) => Some(times),
                _ => None,
            },
            events: metadata.events.iter().map(WrittenEvent::new).collect(),
            test: WrittenConditions::new(&metadata.conditions),
            board: Some(&metadata.board).filter(|board| **board != BoardIdentity::default()),
            corners: corners.map(|mark| json!({ "pixel": mark.pixel, "mm": mark.board })).collect(),
            stuck_pixels: &metadata.stuck_pixels,
            saturated_at: metadata.saturated_at,
            notes: &metadata.notes,
            invented: metadata.invented,
        }
    }
}

#[derive(Serialize)]
struct WrittenEvent<'a> {
    at_s: f64,
    #[serde(skip_serializing_if = "str::is_empty")]
    name: &'a str,
    #[serde(rename = "voltage_V", skip_serializing_if = "Option::is_none")]
    voltage: Option<f64>,
    #[serde(rename = "current_A", skip_serializing_if = "Option::is_none")]
    current: Option<f64>,
    #[serde(rename = "frequency_Hz", skip_serializing_if = "Option::is_none")]
    frequency: Option<f64>,
}

impl<'a> WrittenEvent<'a> {
    fn new(event: &'a BenchEvent) -> Self {
        Self {
            at_s: event.at_s,
            name: &event.name,
            voltage: event.voltage,
            current: event.current,
            frequency: event.frequency,
        }
    }
}

#[derive(Serialize)]
struct WrittenConditions<'a> {
    #[serde(rename = "voltage_V", skip_serializing_if = "Option::is_none")]
    voltage: Option<f64>,
    #[serde(rename = "current_A", skip_serializing_if = "Option::is_none")]
    current: Option<f64>,
    #[serde(rename = "frequency_Hz", skip_serializing_if = "Option::is_none")]
    frequency: Option<f64>,
    #[serde(rename = "warm_up_min", skip_serializing_if = "Option::is_none")]
    warm_up: Option<f64>,
    #[serde(skip_serializing_if = "str::is_empty")]
    notes: &'a str,
}

impl<'a> WrittenConditions<'a> {
    fn new(conditions: &'a TestConditions) -> Option<Self> {
        if *conditions == TestConditions::default() {
            return None;
        }
        Some(Self {
            voltage: conditions.voltage,
            current: conditions.current,
            frequency: conditions.frequency,
            warm_up: conditions.warm_up_minutes,
            notes: &conditions.notes,
        })
    }
}

#[derive(Default, Serialize)]
struct WrittenQuantity {
    #[serde(skip_serializing_if = "Option::is_none")]
    quantity: Option<QuantityName>,
    #[serde(skip_serializing_if = "Option::is_none")]
    unit: Option<TemperatureUnit>,
    #[serde(skip_serializing_if = "Option::is_none")]
    scale: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    offset: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    calibration: Option<Value>,
    #[serde(skip_serializing_if = "Option::is_none")]
    camera_correction: Option<Value>,
}

impl WrittenQuantity {
    fn new(metadata: &CaptureMetadata) -> Self {
        let stated = match &metadata.quantity {
            Some(quantity) => state(quantity),
            None => metadata.stated.clone().unwrap_or_default(),
        };
        Self {
            quantity: stated.quantity,
            unit: stated.unit,
            scale: stated.scale,
            offset: stated.offset,
            calibration: stated.calibration.as_ref().map(written_calibration),
            camera_correction: stated.camera_correction.map(written_correction),
        }
    }
}

fn state(quantity: &Quantity) -> StatedQuantity {
    let stated = StatedQuantity::default();
    match quantity {
        Quantity::Temperature { unit, scale, offset, camera_correction } => StatedQuantity {
            quantity: Some(QuantityName::Temperature),
            unit: Some(*unit),
            scale: Some(*scale),
            offset: Some(*offset),
            camera_correction: *camera_correction,
            ..stated
        },
        Quantity::Radiance { scale, offset } => StatedQuantity {
            quantity: Some(QuantityName::Radiance),
            scale: Some(*scale),
            offset: Some(*offset),
            ..stated
        },
        Quantity::Counts { calibration } => StatedQuantity {
            quantity: Some(QuantityName::Counts),
            calibration: Some(calibration.clone()),
            ..stated
        },
    }
}

fn written_calibration(calibration: &Calibration) -> Value {
    match calibration {
        Calibration::Linear { gain, offset } => json!({ "form": "linear", "gain": gain, "offset": offset }),
        Calibration::Table { points } => json!({ "form": "table", "unit": "K", "points": points }),
        Calibration::SakumaHattori { a, b, c, offset } => {
            json!({ "form": "sakuma-hattori", "a": a, "b": b, "c": c, "offset": offset })
        }
    }
}

fn written_correction(correction: Correction) -> Value {
    let surroundings = correction.surroundings;
    json!({
        "emissivity": correction.emissivity,
        "reflected_degC": celsius(surroundings.reflected),
        "transmittance": surroundings.transmittance,
        "path_degC": celsius(surroundings.path),
    })
}

fn celsius(kelvin: Kelvin) -> f64 {
    decimal_that_reads_as(kelvin.value(), kelvin.to_celsius(), |celsius| {
        Kelvin::from_celsius(celsius).map_or(f64::NAN, Kelvin::value)
    })
}

/// The shortest decimal near `guess` that is read as `wanted`, so that 296.15 K is written as 23 and
/// not as 22.999999999999943 °C; `guess` itself when there is none.
fn decimal_that_reads_as(wanted: f64, guess: f64, read: impl Fn(f64) -> f64) -> f64 {
    let rounded = [1.0, 1e3, 1e6, 1e9, 1e12].map(|steps| (guess * steps).round() / steps);
    let candidates = rounded.into_iter().chain([guess, guess.next_up(), guess.next_down()]);
    candidates.into_iter().find(|candidate| read(*candidate) == wanted).unwrap_or(guess)
}

/// The path of the first `null`.
fn find_null(value: &Value) -> Option<String> {
    let nested = |name: String, value: &Value| {
        find_null(value).map(|path| if path.is_empty() { name } else { format!("{name}.{path}") })
    };
    match value {
        Value::Null => Some(String::new()),
        Value::Array(list) => list.iter().enumerate().find_map(|(index, v)| nested(index.to_string(), v)),
        Value::Object(fields) => fields.iter().find_map(|(name, v)| nested(name.clone(), v)),
        _ => None,
    }
}
