//! Writes `sample-captures/netlist.ipc`: invented nets of the invented board, at the pads of its parts.
//!
//! ```sh
//! cargo run --package analysis --features synthetic --example write_sample_netlist
//! ```
//!
//! An argument names another folder. Columns are those that `analysis::board::netlist` tells the source of.

use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use analysis::board::Placement;
use analysis::synthetic::sample_population;

/// The nets of each part: pin and net, a comma between; pins that are not named are not connected.
const NETS: &[(&str, &str)] = &[
    ("J1", "1 12V_IN, 2 GND"),
    ("F1", "1 12V_IN, 2 12V_FUSED"),
    ("D1", "1 12V_FUSED, 2 GND"),
    ("Q1", "1 +12V, 2 +12V, 3 +12V, 4 GUARD_GATE, 5 12V_FUSED, 6 12V_FUSED, 7 12V_FUSED, 8 12V_FUSED"),
    ("C1", "1 +12V, 2 GND"),
    ("C2", "1 +12V, 2 GND"),
    ("C3", "1 +12V, 2 GND"),
    ("C4", "1 +12V, 2 GND"),
    ("U1", "1 +12V, 2 +12V, 5 GND, 6 GND, 9 5V_SWITCH, 10 5V_SWITCH, 12 5V_BOOT, 17 5V_FEEDBACK, 20 5V_COMP"),
    ("C7", "1 5V_BOOT, 2 5V_SWITCH"),
    ("C8", "1 5V_COMP, 2 GND"),
    ("D2", "1 5V_SWITCH, 2 GND"),
    ("L1", "1 5V_SWITCH, 2 +5V"),
    ("R2", "1 +5V, 2 5V_FEEDBACK"),
    ("R3", "1 5V_FEEDBACK, 2 GND"),
    ("C5", "1 +5V, 2 GND"),
    ("C6", "1 +5V, 2 GND"),
    ("U5", "1 +3V3, 2 GND, 3 POSITION_RECEIVER_TO_CONTROLLER, 4 CONTROLLER_TO_POSITION_RECEIVER, 8 RF_OUT"),
    ("J2", "1 ANTENNA, 2 GND"),
    ("C9", "1 +3V3, 2 GND"),
    ("C24", "1 +3V3, 2 GND"),
    ("R12", "1 RF_OUT, 2 ANTENNA"),
    (
        "U3",
        "1 +3V3, 16 GND, 17 +3V3, 32 GND, 33 +3V3, 48 GND, 49 +3V3, 64 GND, 5 XTAL_IN, 6 XTAL_OUT, 7 RESET, \
         20 STATUS_LAMP, 21 LAMP_ENABLE, 22 ECHO_DATA, 23 ECHO_READY, 34 FLASH_SELECT, 35 FLASH_CLOCK, \
         36 FLASH_IN, 37 FLASH_OUT, 40 SENSOR_DATA, 41 SENSOR_CLOCK, 42 POSITION_RECEIVER_TO_CONTROLLER, \
         43 CONTROLLER_TO_POSITION_RECEIVER, 50 BUS_SEND, 51 BUS_RECEIVE, 54 DEBUG_DATA, 55 DEBUG_CLOCK",
    ),
    ("Y1", "1 XTAL_IN, 2 XTAL_OUT"),
    ("C11", "1 +3V3, 2 GND"),
    ("C12", "1 +3V3, 2 GND"),
    ("C13", "1 +3V3, 2 GND"),
    ("C15", "1 +3V3, 2 GND"),
    ("C16", "1 XTAL_IN, 2 GND"),
    ("C17", "1 XTAL_OUT, 2 GND"),
    ("U4", "1 FLASH_SELECT, 2 FLASH_OUT, 3 +3V3, 4 GND, 5 FLASH_IN, 6 FLASH_CLOCK, 7 +3V3, 8 +3V3"),
    ("R4", "1 FLASH_SELECT, 2 +3V3"),
    ("J5", "1 +3V3, 2 DEBUG_DATA, 3 GND, 4 DEBUG_CLOCK, 5 GND, 10 RESET"),
    ("U9", "1 +3V3, 2 GND, 3 SENSOR_DATA, 4 SENSOR_CLOCK"),
    ("C18", "1 +3V3, 2 GND"),
    ("D4", "1 STATUS_ANODE, 2 GND"),
    ("R5", "1 STATUS_LAMP, 2 STATUS_ANODE"),
    ("U2", "1 GND, 2 +3V3, 3 +5V"),
    ("C19", "1 +3V3, 2 GND"),
    ("C20", "1 +5V, 2 GND"),
    (
        "U7",
        "1 +3V3, 12 GND, 13 +3V3, 24 GND, 25 +3V3, 36 GND, 15 ECHO_DRIVE_P, 18 ECHO_DRIVE_N, 30 ECHO_DATA, \
         31 ECHO_READY, 40 ECHO_INPUT",
    ),
    ("C21", "1 +3V3, 2 GND"),
    ("R6", "1 ECHO_DRIVE_P, 2 PRIMARY_P"),
    ("R7", "1 ECHO_DRIVE_N, 2 PRIMARY_N"),
    ("T1", "1 PRIMARY_P, 2 PRIMARY_N, 3 TRANSDUCER_P, 4 TRANSDUCER_N"),
    ("U8", "1 BUS_RECEIVE, 2 +3V3, 3 +3V3, 4 BUS_SEND, 5 GND, 6 BUS_A, 7 BUS_B, 8 +3V3"),
    ("R8", "1 BUS_A, 2 BUS_B"),
    ("J4", "1 TRANSDUCER_P, 2 TRANSDUCER_N, 3 BUS_A, 4 BUS_B"),
    ("C23", "1 +3V3, 2 GND"),
    ("U6", "1 LAMP_ENABLE, 2 LAMP_SET, 3 LAMP_SENSE, 4 GND, 5 LAMP_DRIVE, 6 +12V, 7 LAMP_COMP, 8 +12V"),
    ("R9", "1 +12V, 2 LAMP_SET"),
    ("R10", "1 LAMP_SET, 2 GND"),
    ("C22", "1 +12V, 2 GND"),
    ("C14", "1 +12V, 2 GND"),
    ("L2", "1 LAMP_CATHODE, 2 LAMP_SWITCH"),
    ("D3", "1 +12V, 2 LAMP_SWITCH"),
    ("Q2", "1 LAMP_GATE, 2 LAMP_SWITCH, 3 LAMP_SENSE"),
    ("Q3", "1 LAMP_DRIVE, 2 GND, 3 LAMP_PULL"),
    ("R11", "1 LAMP_PULL, 2 LAMP_GATE"),
    ("R1", "1 LAMP_SENSE, 2 GND"),
    ("J3", "1 +12V, 2 LAMP_CATHODE"),
];

/// Pads made for testing, and vias: name, net, place in mm. Those named VIA under mask cannot be touched.
const BESIDE_THE_PARTS: &[(&str, &str, [f64; 2])] = &[
    ("TP1", "GND", [25.0, 45.0]),
    ("TP2", "+12V", [30.0, 47.5]),
    ("TP3", "+5V", [55.0, 52.0]),
    ("TP4", "+3V3", [32.0, 40.0]),
    ("TP5", "LAMP_SWITCH", [79.0, 25.0]),
    ("TP6", "LAMP_GATE", [83.5, 13.5]),
    ("TP7", "GND", [88.0, 28.0]),
    ("VIA", "+3V3", [38.0, 33.0]),
    ("VIA", "GND", [40.0, 31.0]),
    ("VIA", "+3V3", [62.0, 28.0]),
    ("VIA", "GND", [50.0, 40.0]),
    ("VIA", "LAMP_SWITCH", [78.0, 17.0]),
];

fn main() -> Result<(), Box<dyn Error>> {
    let default = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let folder = std::env::args_os().nth(1).map_or(default, PathBuf::from);
    fs::write(folder.join("netlist.ipc"), netlist(&sample_population().design.placements())?)?;
    Ok(())
}

fn netlist(parts: &[Placement]) -> Result<String, Box<dyn Error>> {
    let mut records = String::new();
    let mut long_names: Vec<String> = Vec::new();
    let mut short = |net: &str| {
        if net.len() <= 14 {
            return net.to_owned();
        }
        let place = long_names.iter().position(|name| name == net).unwrap_or_else(|| {
            long_names.push(net.to_owned());
            long_names.len() - 1
        });
        format!("NNAME{}", place + 1)
    };
    for part in parts {
        let nets = NETS.iter().find(|(designator, _)| *designator == part.designator);
        let (_, nets) = nets.ok_or_else(|| format!("{} has no nets", part.designator))?;
        let nets: Vec<(&str, &str)> =
            nets.split(',').filter_map(|pair| pair.trim().split_once(' ')).collect();
        for (number, [x, y]) in pads(part).into_iter().enumerate() {
            let pin = (number + 1).to_string();
            let net = nets.iter().find(|(named, _)| *named == pin).map_or("N/C", |(_, net)| net);
            let hole = is_through_hole(&part.package);
            write_record(&mut records, hole, &short(net), (&part.designator, &pin), [x, y])?;
        }
    }
    for (name, net, at) in BESIDE_THE_PARTS {
        let pin = if *name == "VIA" { "" } else { "1" };
        write_record(&mut records, *name == "VIA", &short(net), (name, pin), *at)?;
    }
    let mut text =
        "C  Invented nets of an invented board\nP  JOB TIDAL BUOY BEACON, INVENTED\nP  UNITS CUST 1\n"
            .to_owned();
    for (name, number) in long_names.iter().zip(1..) {
        writeln!(text, "P  NNAME{number} {name}")?;
    }
    Ok(text + &records + "999\n")
}

fn write_record(
    records: &mut String,
    hole: bool,
    net: &str,
    (part, pin): (&str, &str),
    [x, y]: [f64; 2],
) -> std::fmt::Result {
    let via = part == "VIA";
    let (x, y) = ((x * 1000.0).round() as i64, (y * 1000.0).round() as i64);
    let (kind, drill, access) = if hole { (317, "D0800P", 0) } else { (327, "      ", 1) };
    let (hyphen, middle) = if via { (' ', 'M') } else { ('-', ' ') };
    let masked = if via { 3 } else { u8::from(!hole) * 2 };
    writeln!(
        records,
        "{kind}{net:<14}   {part:<6}{hyphen}{pin:<4}{middle}{drill}A{access:02}X{x:+07}Y{y:+07}X0600Y0600R000 S{masked}"
    )
}

fn is_through_hole(package: &str) -> bool {
    ["TERM", "HEADER", "SOCKET", "TR-", "COAX"].iter().any(|start| package.starts_with(start))
}

/// The places of a part's pads, pin 1 first, in the board's millimetres: in one row, in two, or around it.
fn pads(part: &Placement) -> Vec<[f64; 2]> {
    let count = match part.package.rsplit_once('-') {
        Some(("SO" | "QFN" | "LQFP" | "HEADER" | "TERM" | "SOCKET", count)) => count.parse().unwrap_or(2),
        Some(("SOT", _)) => 3,
        Some(("SHIELD", _)) => 8,
        Some(("LID" | "TR", _)) => 4,
        _ if part.package == "DPAK" => 3,
        _ => 2,
    };
    let [half_x, half_y] = part.size.map(|length| length / 2.0);
    let spread = |half: f64, index: usize, of: usize| half * ((2 * index + 1) as f64 / of as f64 - 1.0);
    let (sine, cosine) = part.rotation.to_radians().sin_cos();
    (0..count)
        .map(|pin| {
            let [x, y] = match count {
                2 => [half_x * if pin == 0 { -0.85 } else { 0.85 }, 0.0],
                3 => [spread(half_x, pin, 3), -half_y],
                4..=16 if pin < count / 2 => [spread(half_x, pin, count / 2), -half_y],
                4..=16 => [-spread(half_x, pin - count / 2, count / 2), half_y],
                _ => {
                    let (face, along) = (pin / (count / 4), pin % (count / 4));
                    let along = |half: f64| spread(half, along, count / 4);
                    match face {
                        0 => [-half_x, -along(half_y)],
                        1 => [along(half_x), -half_y],
                        2 => [half_x, along(half_y)],
                        _ => [-along(half_x), half_y],
                    }
                }
            };
            [part.center.x + cosine * x - sine * y, part.center.y + sine * x + cosine * y]
        })
        .collect()
}
