//! How the numbers came about: enough for another person to repeat or doubt them.

use maud::{Markup, html};

use super::twins;
use super::viewer_data::Quantisation;
use crate::comparison::{Comparison, JudgedBy};
use crate::content_hash::ContentHash;
use crate::frame::Frame;
use crate::result::ResultInput;
use crate::result::numbers::{InUnit, count_of, number};
use crate::result::words::basis_words;
use crate::session::{CaptureRecord, Role, Session};
use crate::surface::Finish;
use crate::units::KelvinDifference;

/// The method statement.
pub(super) fn section(input: &ResultInput<'_>, unit: InUnit, quantisation: &Quantisation) -> Markup {
    let ResultInput { session, comparison, .. } = *input;
    html! {
        section.method {
            h2 { "Method" }
            dl {
                (entry("Correction", correction(session, unit)))
                (entry("Emissivity", emissivity(session)))
                (entry("Alignment", alignment(comparison)))
                (entry("What counts as different", thresholds(session, comparison, unit)))
                @if input.twins.is_some() { (entry("Parts of one kind", twins::rule(session, unit))) }
                (entry("Invalid pixels", invalid(comparison)))
                (entry("Numbers in this file", html! {
                    (steps_of_numbers(quantisation, unit))
                    " The TIFF maps saved beside this file hold them as 32-bit floats in kelvin."
                }))
                (entry("Software", html! { "Boardglow " (input.software_version) }))
                (entry("Captures", captures(session)))
            }
        }
    }
}

pub(super) fn entry(name: &str, text: Markup) -> Markup {
    html! { div.entry { dt { (name) } dd { (text) } } }
}

/// How finely the pictures are written.
pub(super) fn steps_of_numbers(quantisation: &Quantisation, unit: InUnit) -> Markup {
    html! {
        "The pictures read out here are written in steps of "
        (number(unit.0.show_difference(f64::from(quantisation.step())) * 1000.0, 1)) " m"
        (unit.0.difference_symbol()) " or finer."
    }
}

pub(super) fn correction(session: &Session, unit: InUnit) -> Markup {
    let surroundings = &session.surroundings;
    html! {
        "Each pixel's in-band radiance is reduced by what the path adds and the surface reflects, divided by emissivity "
        "and transmittance, and turned into temperature by Planck's law over the capture's band. Reflected apparent temperature "
        (unit.read_temperature(surroundings.reflected)) (own_reflected(session, unit)) "; path transmittance "
        (number(surroundings.transmittance.value(), 3)) " at " (unit.read_temperature(surroundings.path))
        ". Surfaces are taken as opaque and grey in the band, surroundings as uniform."
    }
}

/// The reflected temperatures that were measured with single captures.
fn own_reflected(session: &Session, unit: InUnit) -> String {
    let used = session.captures.iter().filter(|record| matches!(record.role, Role::Baseline | Role::Unit));
    let own: Vec<String> = used
        .filter_map(|record| {
            let reflected = record.metadata.reflected?;
            Some(format!("{} for {}", unit.read_temperature(reflected), record.file_name))
        })
        .collect();
    if own.is_empty() { String::new() } else { format!(" (but {})", own.join(", ")) }
}

pub(super) fn emissivity(session: &Session) -> Markup {
    let surface = &session.surface;
    html! {
        @if let Some(hash) = &surface.map {
            p { "Emissivity picture " (named(session, hash)) " where it is valid, below the regions." }
        }
        table {
            thead { tr {
                th scope="col" { "Where" } th.number scope="col" { "ε" } th.number scope="col" { "u(ε)" }
                th scope="col" { "Source" }
            } }
            tbody {
                (finish_row("Whole board", &surface.whole))
                @for region in &surface.regions { (finish_row(&region.name, &region.finish)) }
            }
        }
        p.note { "u(ε) is the standard uncertainty. Later rows lie on top of earlier ones." }
    }
}

fn finish_row(place: &str, finish: &Finish) -> Markup {
    html! {
        tr {
            th scope="row" { (place) }
            td.number { (number(finish.emissivity.value(), 3)) }
            td.number { (number(finish.uncertainty, 3)) }
            td { (finish.source().unwrap_or_else(|| "stated by the person".to_owned())) }
        }
    }
}

fn alignment(comparison: &Comparison) -> Markup {
    let alignment = &comparison.alignment;
    let rows: [f64; 9] = alignment.homography.clone().into();
    html! {
        p {
            "The unit was brought onto the first baseline's pixels by a projective map: estimated error "
            (number(alignment.residual_px, 3)) " px, overlap " (number(alignment.overlap * 100.0, 1))
            " %, confidence " (number(alignment.confidence, 2)) " (correlation of the aligned detail, at best 1)."
        }
        table.matrix aria-label="Projective map, unit pixels to baseline pixels" {
            @for row in rows.chunks(3) { tr { @for value in row { td.number { (matrix_number(*value)) } } } }
        }
    }
}

/// Seven significant digits, small ones in powers of ten.
fn matrix_number(value: f64) -> String {
    if value != 0.0 && value.abs() < 1e-3 { format!("{value:.6e}") } else { format!("{value:.6}") }
}

fn thresholds(session: &Session, comparison: &Comparison, unit: InUnit) -> Markup {
    let criteria = &session.criteria;
    let tolerance = comparison.tolerance.range();
    let size = |kelvin: f32| {
        KelvinDifference::new(f64::from(kelvin)).map_or_else(|_| String::new(), |k| unit.read_size(k))
    };
    let by_spread = match &comparison.judged_by {
        JudgedBy::GoodBoardsSpread(against) => Some(against),
        JudgedBy::Limit { .. } => None,
    };
    html! {
        @if let Some(against) = by_spread {
            "The unit is held against " (comparison.baseline_count) " good boards: offset, tilt and total power of the whole, "
            "what the alignment leaves over and each part's own shift are taken off first. A place counts when another good "
            "board would show as much in at most " (against.false_alarms.per_hundred_good_boards)
            " of 100 boards (half of it for the parts, by Benjamini and Hochberg 1995, half for squares of several sizes, by "
            "their largest standing on the good boards left out in turn), and from "
            (unit.read_size(session.criteria.least_difference)) " on. Noise of the difference " (unit.read_size(comparison.noise))
            " (one standard deviation)."
        } @else {
        "The difference is that of " (basis_words(criteria.basis)) ". A place counts when it exceeds both "
        (unit.read_size(criteria.limit)) " and " (criteria.noise_multiple)
        " times what chance and unit-to-unit spread make of equal boards (noise, drift, air temperature, misalignment and "
        "every input that the captures do not share), over at least "
        (count_of(criteria.least_area_px as usize, "pixel", "pixels")) ". Noise of the difference "
        (unit.read_size(comparison.noise)) " (one standard deviation)"
        @if let Some((lo, hi)) = tolerance { "; tolerance by pixel " (size(lo)) " to " (size(hi)) }
        ". " (count_of(comparison.baseline_count, "known-good capture", "known-good captures")) "."
        }
        @for left_out in &comparison.left_out { " Left out: " (left_out.file_name) ", " (left_out.reason) "." }
    }
}

fn invalid(comparison: &Comparison) -> Markup {
    let (rows, columns) = comparison.baseline.shape();
    html! {
        @let aside = &comparison.set_aside;
        @if aside.unit + aside.baselines > 0 {
            "Isolated pixels that stood alone were taken for the detector's and set aside: " (aside.unit) " in the unit, "
            (aside.baselines) " in the baselines. "
        }
        "Of " (rows * columns) " pixels: baseline " (missing(&comparison.baseline)) ", unit " (missing(&comparison.unit))
        " (of these " (comparison.rejected.no_physical_answer)
        " have no physical temperature with this emissivity and surroundings), difference "
        (missing(&comparison.difference)) "."
    }
}

/// How many pixels have no value.
pub(super) fn missing<Q>(frame: &Frame<Q>) -> usize {
    frame.as_slice().len() - frame.count_valid()
}

/// The file name of what has this content, or the content's hash.
fn named<'a>(session: &'a Session, hash: &'a ContentHash) -> &'a str {
    session.capture(hash).map_or(hash.as_str(), |record| record.file_name.as_str())
}

/// What a capture is in this session.
fn used_as(session: &Session, record: &CaptureRecord) -> &'static str {
    let states_emissivity = |picture: &Option<ContentHash>| picture.as_ref() == Some(&record.hash);
    match record.role {
        Role::Baseline => "baseline",
        Role::Unit => "unit",
        Role::Waiting => "another unit of this session",
        Role::Aside if states_emissivity(&session.surface.map) => "emissivity picture",
        Role::Aside if states_emissivity(&session.surface.map_uncertainty) => {
            "uncertainty of the emissivities"
        }
        Role::Aside => "set aside",
    }
}

/// Every capture of the session, by name, band and content.
pub(super) fn captures(session: &Session) -> Markup {
    html! {
        table.hashes {
            thead { tr {
                th scope="col" { "File" } th scope="col" { "Used as" } th.number scope="col" { "Band" } th scope="col" { "SHA-256" }
            } }
            tbody { @for record in &session.captures {
                @let band = record.metadata.band.unwrap_or(session.band);
                tr {
                    th scope="row" { (record.file_name) }
                    td { (used_as(session, record)) }
                    td.number { (band.lower().value()) "\u{2013}" (band.upper().value()) " µm" }
                    td.hash { (record.hash) }
                }
            } }
        }
        @if session.captures.iter().any(|record| record.metadata.band.is_none()) {
            p.note { "A capture that states no band is taken at the session's." }
        }
    }
}
