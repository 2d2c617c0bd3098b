//! From a sidecar's text to metadata.

use serde_json::{Map, Value};

use crate::capture::frame_times::{BenchEvent, FrameTimes};
use crate::capture::meaning::decide;
use crate::capture::metadata::{
    BoardIdentity, CaptureMetadata, CornerMark, QuantityName, StatedQuantity, TestConditions,
};
use crate::geometry::Point;
use crate::radiometry::{Band, Calibration, Correction, Surroundings};
use crate::units::{Emissivity, Kelvin, KelvinDifference, Millimeters, TemperatureUnit, Transmittance};

use super::error::{SidecarError, SidecarWarning};
use super::fields::{Fields, shorten};

/// The version that is read and written.
pub(super) const VERSION: u64 = 1;

const ANY_NUMBER: &str = "a number";
const ABOVE_ZERO: &str = "above 0";
const ZERO_OR_MORE: &str = "0 or more";
const ANY_CELSIUS: &str = "above -273.15 and below 9726.85 °C";

/// The metadata that a sidecar states, and what is odd in it.
///
/// The quantity stays `None` where too little is said of it; then
/// [`missing_meaning`](crate::capture::missing_meaning) tells what to ask, and what was said is kept in
/// `stated` for [`complete_meaning`](crate::capture::complete_meaning).
///
/// # Errors
/// [`SidecarError`], which names the file, the field, the value and what it must be.
pub fn parse_sidecar(
    file_name: &str,
    text: &str,
) -> Result<(CaptureMetadata, Vec<SidecarWarning>), SidecarError> {
    let json: Value = serde_json::from_str(text.trim_start_matches('\u{FEFF}')).map_err(|error| {
        SidecarError::NotJson { file_name: file_name.to_owned(), what: error.to_string() }
    })?;
    let nothing = Map::new();
    let mut fields = Fields::new(file_name, String::new(), json.as_object().unwrap_or(&nothing));
    let version = fields.value("boardglow_sidecar");
    if version.and_then(Value::as_u64) != Some(VERSION) {
        let found = version.map_or_else(|| "missing".to_owned(), shorten);
        return Err(SidecarError::Version { file_name: file_name.to_owned(), found });
    }
    let mut warnings = Vec::new();
    let stated = read_stated(&mut fields, &mut warnings)?;
    let quantity = decide(&stated).ok();
    let metadata = CaptureMetadata {
        stated: (quantity.is_none() && stated != StatedQuantity::default()).then_some(stated),
        quantity,
        page: fields.read("page", "a number from 1, or \"mean\"")?.unwrap_or_default(),
        frame_times: read_frame_times(&mut fields, &mut warnings)?,
        events: read_events(&mut fields, &mut warnings)?,
        band: read_band(&mut fields)?,
        netd: fields.quantity("netd_mK", ABOVE_ZERO, |millikelvin| {
            let netd = KelvinDifference::new(millikelvin / 1000.0).ok();
            netd.filter(|netd| netd.value() > 0.0)
        })?,
        ambient: read_celsius(&mut fields, "ambient_degC")?,
        reflected: read_celsius(&mut fields, "reflected_degC")?,
        distance: fields.number("distance_m", ABOVE_ZERO, |distance| distance > 0.0)?,
        time: fields.text("time")?,
        pixel_pitch: fields.quantity("pixel_pitch_mm", ABOVE_ZERO, |pitch| {
            Millimeters::new(pitch).ok().filter(|pitch| pitch.value() > 0.0)
        })?,
        conditions: read_conditions(&mut fields, &mut warnings)?,
        board: read_board(&mut fields, &mut warnings)?,
        corners: read_corners(&mut fields, &mut warnings)?,
        stuck_pixels: fields
            .read("stuck_pixels", "a list of [x, y], whole numbers from 0")?
            .unwrap_or_default(),
        saturated_at: fields.number("saturated_at", ANY_NUMBER, f64::is_finite)?,
        notes: fields.text("notes")?,
        invented: fields.read("invented", "true or false")?.unwrap_or_default(),
    };
    fields.finish(&mut warnings);
    Ok((metadata, warnings))
}

fn read_stated(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<StatedQuantity, SidecarError> {
    let mut stated = StatedQuantity {
        quantity: fields.read("quantity", "\"temperature\", \"radiance\" or \"counts\"")?,
        unit: fields.read("unit", "\"degC\", \"degF\" or \"K\"")?,
        scale: fields.number("scale", "any number but 0", |scale| scale != 0.0)?,
        offset: fields.number("offset", ANY_NUMBER, f64::is_finite)?,
        calibration: read_calibration(fields, warnings)?,
        camera_correction: read_camera_correction(fields, warnings)?,
    };
    let Some(quantity) = stated.quantity else { return Ok(stated) };
    if quantity != QuantityName::Temperature {
        if stated.unit.take().is_some() {
            warnings.push(fields.ignored("unit", "it is for temperatures only"));
        }
        if stated.camera_correction.take().is_some() {
            warnings.push(fields.ignored("camera_correction", "it is for temperatures only"));
        }
    }
    if quantity == QuantityName::Counts {
        let scaled = [("scale", stated.scale.take()), ("offset", stated.offset.take())];
        for (name, _) in scaled.iter().filter(|(_, number)| number.is_some()) {
            warnings.push(fields.ignored(name, "the calibration says what counts mean"));
        }
    } else if stated.calibration.take().is_some() {
        warnings.push(fields.ignored("calibration", "it is for counts only"));
    }
    Ok(stated)
}

fn read_calibration(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<Option<Calibration>, SidecarError> {
    let Some(mut fields) = fields.object("calibration")? else { return Ok(None) };
    let forms = "\"linear\", \"table\" or \"sakuma-hattori\"";
    let form = fields.read::<String>("form", forms)?;
    let calibration = match form.as_deref() {
        Some("linear") => Calibration::Linear {
            gain: required(&mut fields, "gain", "any number but 0", |gain| gain != 0.0)?,
            offset: fields.number("offset", ANY_NUMBER, f64::is_finite)?.unwrap_or(0.0),
        },
        Some("table") => read_table(&mut fields)?,
        Some("sakuma-hattori") => Calibration::SakumaHattori {
            a: required(&mut fields, "a", ABOVE_ZERO, |a| a > 0.0)?,
            b: required(&mut fields, "b", ANY_NUMBER, f64::is_finite)?,
            c: required(&mut fields, "c", ABOVE_ZERO, |c| c > 0.0)?,
            offset: fields.number("offset", ANY_NUMBER, f64::is_finite)?.unwrap_or(0.0),
        },
        Some(other) => return Err(fields.wrong_type("form", &Value::from(other), forms)),
        None => return Err(fields.missing("form", "state \"linear\", \"table\" or \"sakuma-hattori\"")),
    };
    fields.finish(warnings);
    Ok(Some(calibration))
}

fn required(
    fields: &mut Fields<'_>,
    name: &'static str,
    allowed: &'static str,
    check: impl FnOnce(f64) -> bool,
) -> Result<f64, SidecarError> {
    let number = fields.number(name, allowed, check)?;
    number.ok_or_else(|| fields.missing(name, "this form of calibration needs it"))
}

fn read_table(fields: &mut Fields<'_>) -> Result<Calibration, SidecarError> {
    let units = "\"degC\" or \"K\"";
    let unit = fields.read::<TemperatureUnit>("unit", units)?;
    let Some(unit) = unit else {
        return Err(fields.missing("unit", "state \"degC\" or \"K\" for the temperatures of the table"));
    };
    if unit == TemperatureUnit::Fahrenheit {
        return Err(fields.wrong_type("unit", &Value::from("degF"), units));
    }
    let points = fields.read::<Vec<[f64; 2]>>("points", "a list of [counts, temperature]")?;
    let Some(mut points) = points else {
        return Err(fields.missing("points", "state pairs of [counts, temperature]"));
    };
    for [_, temperature] in &mut points {
        match Kelvin::new(unit.read(*temperature)) {
            Ok(kelvin) => *temperature = kelvin.value(),
            Err(_) => {
                return Err(fields.out_of_range(
                    "points",
                    *temperature,
                    "above absolute zero, below 10000 K",
                ));
            }
        }
    }
    let steps = || points.iter().zip(points.iter().skip(1));
    let rising = steps().all(|(low, high)| low[0] < high[0]);
    let warmer = steps().all(|(low, high)| low[1] < high[1]);
    let colder = steps().all(|(low, high)| low[1] > high[1]);
    if points.len() < 2 || !rising || !(warmer || colder) {
        let found = format!("a list of {} pairs", points.len());
        return Err(fields.out_of_range(
            "points",
            found,
            "two or more pairs, counts rising, temperatures monotone",
        ));
    }
    Ok(Calibration::Table { points })
}

fn read_camera_correction(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<Option<Correction>, SidecarError> {
    let Some(mut fields) = fields.object("camera_correction")? else { return Ok(None) };
    let fraction = "above 0 and at most 1";
    let emissivity = fields.quantity("emissivity", fraction, |e| Emissivity::new(e).ok())?;
    let reflected = read_celsius(&mut fields, "reflected_degC")?;
    let transmittance = fields.quantity("transmittance", fraction, |t| Transmittance::new(t).ok())?;
    let path = read_celsius(&mut fields, "path_degC")?;
    let emissivity = emissivity
        .ok_or_else(|| fields.missing("emissivity", "state the emissivity that was set in the camera"))?;
    let reflected = reflected.ok_or_else(|| {
        fields.missing("reflected_degC", "state the temperature that was set in the camera")
    })?;
    let transmittance = transmittance.unwrap_or(Transmittance::CLEAR);
    if path.is_none() && transmittance != Transmittance::CLEAR {
        return Err(fields.missing("path_degC", "a path that absorbs also radiates"));
    }
    // A clear path does not radiate: its temperature has no effect.
    let path = path.unwrap_or(reflected);
    fields.finish(warnings);
    Ok(Some(Correction { emissivity, surroundings: Surroundings { reflected, transmittance, path } }))
}

fn read_celsius(fields: &mut Fields<'_>, name: &'static str) -> Result<Option<Kelvin>, SidecarError> {
    fields.quantity(name, ANY_CELSIUS, |celsius| Kelvin::from_celsius(celsius).ok())
}

fn read_band(fields: &mut Fields<'_>) -> Result<Option<Band>, SidecarError> {
    let Some([lower, upper]) = fields.read::<[f64; 2]>("band_um", "[lower, upper]")? else { return Ok(None) };
    let band = Band::new(lower, upper);
    band.map(Some).map_err(|_| {
        let allowed = "[lower, upper] from 0.1 to 1000 µm, at least 0.01 µm apart";
        fields.out_of_range("band_um", format!("[{lower}, {upper}]"), allowed)
    })
}

fn read_frame_times(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<Option<FrameTimes>, SidecarError> {
    let interval = fields.number("frame_interval_s", ABOVE_ZERO, |interval| interval > 0.0)?;
    let Some(times) = fields.read::<Vec<f64>>("frame_times_s", "a list of seconds")? else {
        return Ok(interval.map(FrameTimes::Interval));
    };
    let step = times.iter().zip(times.iter().skip(1)).position(|(earlier, later)| earlier >= later);
    if let Some(at) = step {
        let found = format!("a list whose number {} is not above the one before", at + 2);
        return Err(fields.out_of_range("frame_times_s", found, "a rising list of seconds"));
    }
    if interval.is_some() {
        warnings.push(fields.ignored("frame_interval_s", "\"frame_times_s\" says when each frame was taken"));
    }
    Ok(Some(FrameTimes::Each(times)))
}

fn read_events(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<Vec<BenchEvent>, SidecarError> {
    let mut events = Vec::new();
    for mut fields in fields.objects("events")? {
        let at_s = fields.number("at_s", ANY_NUMBER, f64::is_finite)?;
        events.push(BenchEvent {
            at_s: at_s.ok_or_else(|| fields.missing("at_s", "an event needs its time"))?,
            name: fields.text("name")?,
            voltage: fields.number("voltage_V", ANY_NUMBER, f64::is_finite)?,
            current: fields.number("current_A", ANY_NUMBER, f64::is_finite)?,
            frequency: fields.number("frequency_Hz", ZERO_OR_MORE, |frequency| frequency >= 0.0)?,
        });
        fields.finish(warnings);
    }
    Ok(events)
}

fn read_conditions(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<TestConditions, SidecarError> {
    let Some(mut fields) = fields.object("test")? else { return Ok(TestConditions::default()) };
    let conditions = TestConditions {
        voltage: fields.number("voltage_V", ANY_NUMBER, f64::is_finite)?,
        current: fields.number("current_A", ANY_NUMBER, f64::is_finite)?,
        frequency: fields.number("frequency_Hz", ZERO_OR_MORE, |frequency| frequency >= 0.0)?,
        warm_up_minutes: fields.number("warm_up_min", ZERO_OR_MORE, |minutes| minutes >= 0.0)?,
        notes: fields.text("notes")?,
    };
    fields.finish(warnings);
    Ok(conditions)
}

fn read_board(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<BoardIdentity, SidecarError> {
    let Some(mut fields) = fields.object("board")? else { return Ok(BoardIdentity::default()) };
    let board = BoardIdentity { product: fields.text("product")?, serial: fields.text("serial")? };
    fields.finish(warnings);
    Ok(board)
}

fn read_corners<S>(
    fields: &mut Fields<'_>,
    warnings: &mut Vec<SidecarWarning>,
) -> Result<Vec<CornerMark<S>>, SidecarError> {
    let mut corners = Vec::new();
    for mut fields in fields.objects("corners")? {
        let mut point = |name| {
            let place = fields.read::<[f64; 2]>(name, "[x, y]")?;
            place.ok_or_else(|| fields.missing(name, "a corner needs both \"pixel\" and \"mm\""))
        };
        let ([x, y], [board_x, board_y]) = (point("pixel")?, point("mm")?);
        corners.push(CornerMark { pixel: Point::new(x, y), board: Point::new(board_x, board_y) });
        fields.finish(warnings);
    }
    Ok(corners)
}
