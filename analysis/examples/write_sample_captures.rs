//! Writes `sample-captures/`: invented captures of an invented board, with everything a comparison needs.
//!
//! ```sh
//! cargo run --release --package analysis --features synthetic --example write_sample_captures
//! ```
//!
//! An argument names another folder. The same source writes the same pictures.

use std::error::Error;
use std::fs;
use std::path::{Path, PathBuf};

use analysis::capture::{encode_tiff_u16, write_sidecar};
use analysis::synthetic::{BoardDesign, Simulated, sample_population, samples};
use serde_json::{Value, json};

/// The capture that is written as PGM, to show that format; the others are TIFF.
const AS_PGM: &str = "good-5";

/// The invented house limits of one part.
struct HouseLimit {
    designator: &'static str,
    max_case_celsius: f64,
    max_junction_celsius: Option<f64>,
    psi_junction_top: Option<f64>,
}

const fn limit(
    designator: &'static str,
    max_case_celsius: f64,
    max_junction_celsius: Option<f64>,
    psi_junction_top: Option<f64>,
) -> HouseLimit {
    HouseLimit { designator, max_case_celsius, max_junction_celsius, psi_junction_top }
}

const LIMITS: [HouseLimit; 14] = [
    limit("U1", 85.0, Some(125.0), Some(2.5)),
    limit("U2", 85.0, Some(125.0), Some(6.0)),
    limit("U3", 70.0, Some(105.0), Some(1.5)),
    limit("U6", 85.0, Some(125.0), Some(5.0)),
    limit("U7", 75.0, Some(105.0), Some(0.9)),
    limit("Q1", 85.0, Some(150.0), Some(8.0)),
    limit("Q2", 60.0, Some(150.0), Some(4.0)),
    limit("D2", 85.0, Some(150.0), Some(12.0)),
    limit("D3", 85.0, Some(150.0), Some(18.0)),
    limit("L1", 90.0, None, None),
    limit("L2", 90.0, None, None),
    limit("R1", 95.0, None, None),
    limit("C1", 65.0, None, None),
    limit("C14", 65.0, None, None),
];

fn main() -> Result<(), Box<dyn Error>> {
    let default = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let folder = std::env::args_os().nth(1).map_or(default, PathBuf::from);
    fs::create_dir_all(&folder)?;

    let population = sample_population();
    let mut truths = Vec::new();
    for (place, sample) in samples().iter().enumerate() {
        let mut simulated = sample.simulate(&population)?;
        simulated.metadata.time = invented_time(place);
        let (rows, columns) = simulated.capture.shape();
        let numbers: Vec<u16> = simulated.capture.as_slice().iter().map(|&count| count as u16).collect();
        let (file_name, bytes) = if sample.name == AS_PGM {
            (format!("{}.pgm", sample.name), pgm(&numbers, rows, columns))
        } else {
            (format!("{}.tiff", sample.name), encode_tiff_u16(&numbers, rows, columns)?)
        };
        fs::write(folder.join(&file_name), bytes)?;
        fs::write(folder.join(format!("{file_name}.json")), write_sidecar(&simulated.metadata)? + "\n")?;
        truths.push(truth(&file_name, &simulated));
    }
    let truth = json!({
        "invented": true,
        "product": population.design.product,
        "captures": truths,
    });
    fs::write(folder.join("truth.json"), serde_json::to_string_pretty(&truth)? + "\n")?;
    write_placements(&population.design, &folder.join("placement.csv"))?;
    write_limits(&population.design, &folder.join("limits.csv"))?;
    Ok(())
}

/// One board every half hour of an invented day at the bench.
fn invented_time(place: usize) -> String {
    format!("2026-10-14T{:02}:{:02}:00+02:00", 9 + place / 2, 30 * (place % 2))
}

/// A 16-bit portable graymap: most significant byte first.
fn pgm(numbers: &[u16], rows: usize, columns: usize) -> Vec<u8> {
    let mut bytes = format!("P5\n{columns} {rows}\n65535\n").into_bytes();
    bytes.extend(numbers.iter().flat_map(|number| number.to_be_bytes()));
    bytes
}

fn truth(file_name: &str, simulated: &Simulated) -> Value {
    let rounded = |value: f64, places: f64| (value * places).round() / places;
    let fault = simulated.fault.as_ref().map(|fault| {
        json!({
            "kind": fault.kind,
            "designator": fault.designator,
            "at_mm": [rounded(fault.place.x, 100.0), rounded(fault.place.y, 100.0)],
            "peak_K": rounded(fault.peak, 100.0),
            "width_at_half_peak_mm": rounded(fault.width_mm, 10.0),
        })
    });
    json!({
        "file": file_name,
        "unit": simulated.metadata.board.serial,
        "ambient_degC": rounded(simulated.ambient.to_celsius(), 1000.0),
        "reflected_degC": rounded(simulated.reflected.to_celsius(), 1000.0),
        "board_mm_to_pixels": simulated.board_to_pixels,
        "fault": fault,
    })
}

fn write_placements(design: &BoardDesign, path: &Path) -> Result<(), Box<dyn Error>> {
    let mut table = csv::Writer::from_path(path)?;
    table.write_record([
        "designator",
        "x_mm",
        "y_mm",
        "rotation_deg",
        "side",
        "package",
        "size_x_mm",
        "size_y_mm",
        "value",
    ])?;
    for part in design.placements() {
        table.write_record([
            part.designator,
            part.center.x.to_string(),
            part.center.y.to_string(),
            part.rotation.to_string(),
            "top".to_owned(),
            part.package,
            part.size[0].to_string(),
            part.size[1].to_string(),
            part.value,
        ])?;
    }
    Ok(table.flush()?)
}

fn write_limits(design: &BoardDesign, path: &Path) -> Result<(), Box<dyn Error>> {
    let number = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let mut table = csv::Writer::from_path(path)?;
    table.write_record(["designator", "max_case_degC", "max_junction_degC", "power_W", "psi_jt_K_per_W"])?;
    for limit in LIMITS {
        let power = design.part(limit.designator).map(|part| part.power);
        table.write_record([
            limit.designator.to_owned(),
            limit.max_case_celsius.to_string(),
            number(limit.max_junction_celsius),
            number(power),
            number(limit.psi_junction_top),
        ])?;
    }
    Ok(table.flush()?)
}
