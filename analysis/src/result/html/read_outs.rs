//! The places that were read out, with their values.

use maud::{Markup, html};

use crate::frame::{Difference, Frame, SurfaceKelvin};
use crate::inspection::place_reading::PlaceReading;
use crate::result::numbers::InUnit;
use crate::session::{Gauge, GaugePlace, Session};
use crate::units::{Kelvin, KelvinDifference};

/// What the unit is read out beside.
#[derive(Clone, Copy)]
pub(super) struct Beside<'a> {
    pub(super) baseline: &'a Frame<SurfaceKelvin>,
    pub(super) difference: &'a Frame<Difference>,
}

/// One row a read-out; nothing where there is none.
pub(super) fn section(
    session: &Session,
    surface: &Frame<SurfaceKelvin>,
    beside: Option<Beside<'_>>,
    unit: InUnit,
) -> Markup {
    html! {
        @if !session.gauges.is_empty() {
            section.read-outs {
                h2 { "Read-outs" }
                div.scroll { table {
                    thead { tr {
                        th scope="col" { "Name" } th scope="col" { "Place, px" }
                        @if beside.is_some() { th.number scope="col" { "Baseline, mean" } }
                        th.number scope="col" { "Unit, least" }
                        th.number scope="col" { "Unit, mean" } th.number scope="col" { "Unit, greatest" }
                        @if beside.is_some() { th.number scope="col" { "Difference, mean" } }
                    } }
                    tbody { @for gauge in &session.gauges { (row(gauge, surface, beside, unit)) } }
                } }
                p.note { "A point is read over 3 × 3 pixels." }
            }
        }
    }
}

fn row(gauge: &Gauge, surface: &Frame<SurfaceKelvin>, beside: Option<Beside<'_>>, unit: InUnit) -> Markup {
    let seen = gauge.place.read(surface);
    let dash = || "\u{2013}".to_owned();
    let temperature = |reading: Option<PlaceReading>, of: fn(PlaceReading) -> f32| {
        let kelvin = reading.and_then(|reading| Kelvin::new(f64::from(of(reading))).ok());
        kelvin.map_or_else(dash, |kelvin| unit.read_temperature(kelvin))
    };
    let difference = |frame: &Frame<Difference>| {
        let reading = gauge.place.read(frame);
        let difference = reading.and_then(|reading| KelvinDifference::new(f64::from(reading.mean)).ok());
        difference.map_or_else(dash, |difference| unit.read_difference(difference))
    };
    html! {
        tr {
            td { strong { (gauge.name) } }
            td { (place_text(gauge.place)) }
            @if let Some(beside) = beside { td.number { (temperature(gauge.place.read(beside.baseline), |r| r.mean)) } }
            td.number { (temperature(seen, |r| r.least)) }
            td.number { (temperature(seen, |r| r.mean)) }
            td.number { (temperature(seen, |r| r.greatest)) }
            @if let Some(beside) = beside { td.number { (difference(beside.difference)) } }
        }
    }
}

fn place_text(place: GaugePlace) -> String {
    match place {
        GaugePlace::Point { at } => format!("{:.0}, {:.0}", at.x, at.y),
        GaugePlace::Area { from, to } => {
            format!("area {:.0}, {:.0} to {:.0}, {:.0}", from.x, from.y, to.x, to.y)
        }
        GaugePlace::Line { from, to } => {
            format!("line {:.0}, {:.0} to {:.0}, {:.0}", from.x, from.y, to.x, to.y)
        }
    }
}
