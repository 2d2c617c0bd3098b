//! A hole instead of a coating: its effective emissivity by its shape.

use analysis::procedure::{CavityMethod, Record};
use analysis::units::{Emissivity, Millimeters};
use leptos::prelude::*;

use super::Guided;
use super::outcome::{NoRecord, OutcomeCard};
use super::place::{Place, PlaceField};
use crate::widgets::NumberField;

const STEPS: [&str; 4] = [
    "A hole mirrors less than the surface around it: a plated hole, a screw head, a socket, as deep as it is wide or deeper, and at one temperature all through.",
    "Look straight into it, with at least three pixels across; lay nothing into a live board.",
    "Enter its shape and the emissivity of its walls.",
    "Lay the finish over the hole in step 3 and read there.",
];

/// The entries, in the units they are typed in.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Entries {
    diameter: f64,
    depth: f64,
    length_uncertainty: f64,
    wall: f64,
    wall_uncertainty: f64,
    view_angle: f64,
    pixels_across: f64,
}

const START: Entries = Entries {
    diameter: 1.0,
    depth: 2.0,
    length_uncertainty: 0.05,
    wall: 0.6,
    wall_uncertainty: 0.1,
    view_angle: 5.0,
    pixels_across: 5.0,
};

fn record(entries: Entries) -> Result<Record, NoRecord> {
    let length = |millimeters| Millimeters::new(millimeters).map_err(NoRecord::wrong);
    let entered = CavityMethod {
        diameter: length(entries.diameter)?,
        diameter_uncertainty: entries.length_uncertainty,
        depth: length(entries.depth)?,
        depth_uncertainty: entries.length_uncertainty,
        wall: Emissivity::new(entries.wall).map_err(NoRecord::wrong)?,
        wall_uncertainty: entries.wall_uncertainty,
        view_angle: entries.view_angle,
        pixels_across: entries.pixels_across,
    };
    Ok(Record::cavity(entered)?)
}

/// By the shape of a hole.
#[component]
pub fn ByCavity() -> impl IntoView {
    let entries = RwSignal::new(START);
    let field = move |label: &'static str,
                      unit: &'static str,
                      read: fn(&Entries) -> f64,
                      write: fn(&mut Entries, f64)| {
        let commit = move |typed: Option<f64>| match typed {
            Some(typed) => {
                entries.update(|entries| write(entries, typed));
                None
            }
            None => Some("is needed".to_owned()),
        };
        let value = Signal::derive(move || Some(entries.with(read)));
        view! { <NumberField label=label unit=unit.to_owned() value=value commit=commit /> }
    };
    let place = Place::of_a_part();
    let record = Signal::derive(move || record(entries.get()));
    view! {
        <Guided name=CavityMethod::NAME steps=&STEPS testid="by-cavity">
            <PlaceField place=place testid="by-cavity" />
            <div class="fields">
                {field("Diameter", "mm", |e| e.diameter, |e, typed| e.diameter = typed)}
                {field("Depth", "mm", |e| e.depth, |e, typed| e.depth = typed)}
                {field("Standard uncertainty of both", "mm", |e| e.length_uncertainty, |e, typed| e.length_uncertainty = typed)}
                {field("Emissivity of the walls", "", |e| e.wall, |e, typed| e.wall = typed)}
                {field("Standard uncertainty of that", "", |e| e.wall_uncertainty, |e, typed| e.wall_uncertainty = typed)}
                {field("View off the axis", "°", |e| e.view_angle, |e, typed| e.view_angle = typed)}
                {field("Pixels across", "px", |e| e.pixels_across, |e, typed| e.pixels_across = typed)}
            </div>
            <OutcomeCard record=record place=place testid="by-cavity" />
        </Guided>
    }
}
