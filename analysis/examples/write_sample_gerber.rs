//! Writes `sample-captures/profile.gbr` and `components-top.gbr`: the invented board's edge and parts as Gerber layers.
//!
//! ```sh
//! cargo run --package analysis --features synthetic --example write_sample_gerber
//! ```
//!
//! An argument names another folder. Commands are those that `analysis::board::gerber` tells the source of.

use std::error::Error;
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use analysis::board::{Placement, Side};
use analysis::synthetic::sample_population;

fn main() -> Result<(), Box<dyn Error>> {
    let default = Path::new(env!("CARGO_MANIFEST_DIR")).join("../sample-captures");
    let folder = std::env::args_os().nth(1).map_or(default, PathBuf::from);
    let design = sample_population().design;
    fs::write(folder.join("profile.gbr"), profile(design.size)?)?;
    fs::write(folder.join("components-top.gbr"), component_layer(&design.placements())?)?;
    Ok(())
}

/// The file attributes, the number format and the unit: six decimals of a millimetre.
fn head(function: &str) -> String {
    format!(
        "G04 Invented: no such board exists*\n%TF.FileFunction,{function}*%\n%TF.FilePolarity,Positive*%\n\
         %FSLAX46Y46*%\n%MOMM*%\n%LPD*%\nG01*\n"
    )
}

fn place([x, y]: [f64; 2], operation: &str) -> String {
    let [x, y] = [x, y].map(|length| (length * 1e6).round() as i64);
    format!("X{x}Y{y}{operation}*\n")
}

/// A closed line through these places.
fn closed(places: &[[f64; 2]]) -> String {
    let onward = places.iter().skip(1).chain(places.first()).map(|&at| place(at, "D01"));
    places.first().map(|&at| place(at, "D02")).into_iter().chain(onward).collect()
}

fn profile([width, height]: [f64; 2]) -> Result<String, std::fmt::Error> {
    let mut text = head("Profile,NP");
    writeln!(text, "%TA.AperFunction,Profile*%\n%ADD10C,0.100*%\n%TD*%\nD10*")?;
    text += &closed(&[[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]);
    Ok(text + "M02*\n")
}

fn component_layer(parts: &[Placement]) -> Result<String, std::fmt::Error> {
    let mut text = head("Component,L1,Top");
    text += "%TA.AperFunction,ComponentMain*%\n%ADD10C,0.300*%\n\
             %TA.AperFunction,ComponentOutline,Body*%\n%ADD11C,0.100*%\n%TD*%\n";
    for part in parts.iter().filter(|part| part.side == Side::Top) {
        let Placement { designator, center, rotation, package, size, value, .. } = part;
        writeln!(text, "D10*\n%TO.C,{designator}*%\n%TO.CRot,{rotation}*%\n%TO.CFtp,{package}*%")?;
        // A comma would begin another field.
        writeln!(text, "%TO.CVal,{}*%", value.replace(',', "\\u002C"))?;
        text += &place([center.x, center.y], "D03");
        let (sine, cosine) = rotation.to_radians().sin_cos();
        let corners = [[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]].map(|[x, y]| {
            let [x, y] = [x * size[0], y * size[1]];
            [center.x + cosine * x - sine * y, center.y + sine * x + cosine * y]
        });
        writeln!(text, "D11*\n{}%TD*%", closed(&corners))?;
    }
    Ok(text + "M02*\n")
}
