//! What differs, the most significant first, each with what it means.

use analysis::comparison::JudgedBy;
use analysis::inspection::{Finding, explain};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use crate::stage::look::{Arrangement, Look, Subject};
use crate::store::{ComparisonState, Store};
use crate::wording;

/// The ranked findings. A click takes the picture there.
#[component]
pub fn Findings() -> impl IntoView {
    let store = Store::expect();
    let state = store.comparison();
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let rows = move || {
        let unit = unit.get();
        state.with(|state| {
            let findings = state.latest().map(|comparison| comparison.findings.clone()).unwrap_or_default();
            let weightiest = findings.iter().map(|finding| finding.significance).fold(1.0, f64::max);
            let row = |(place, finding)| view! { <FindingRow place=place finding=finding unit=unit weightiest=weightiest /> };
            findings.into_iter().enumerate().map(row).collect::<Vec<_>>()
        })
    };
    let summary = move || {
        let unit = unit.get();
        state.with(|state| match state {
            ComparisonState::NotReady(why) => why.clone(),
            ComparisonState::Running(progress) => format!("Being worked out: {}", progress.stage),
            ComparisonState::Failed(notice) => format!("{} {}", notice.what, notice.hint),
            ComparisonState::Ready(comparison) | ComparisonState::OutOfDate(comparison, _) => {
                let noise = wording::interval(unit, comparison.noise.value());
                let blind = match comparison.rejected.no_physical_answer {
                    0 => String::new(),
                    pixels => format!(
                        " {} of the unit have no physical temperature with this emissivity and reflected temperature.",
                        wording::count(pixels, "pixel")
                    ),
                };
                let aside = comparison.set_aside.unit + comparison.set_aside.baselines;
                let alone = match aside {
                    0 => String::new(),
                    pixels => format!(
                        " {} that stood alone counted as the detector's and were set aside.",
                        wording::count(pixels, "pixel")
                    ),
                };
                let edges = match comparison.judged_by {
                    JudgedBy::GoodBoardsSpread(_) => {
                        " Thin red and blue edges are parts that sit a little elsewhere than on the good boards; that much is allowed for."
                    }
                    JudgedBy::Limit { .. } => "",
                };
                format!("Noise of the difference: {noise}.{blind}{alone}{edges}")
            }
        })
    };
    view! {
        <div class="block">
            <h3>"Findings, the most significant first"</h3>
            <div data-testid="findings">{rows}</div>
            <p hidden=move || state.with(|state| state.latest().is_none_or(|c| !c.findings.is_empty()))>"None."</p>
            <p class="remark" role="status">{summary}</p>
        </div>
    }
}

#[component]
fn FindingRow(
    /// Its place in the ranking, from 0.
    place: usize,
    /// The finding.
    finding: Finding,
    /// The unit to show it in.
    unit: TemperatureUnit,
    /// The largest significance there is.
    weightiest: f64,
) -> impl IntoView {
    let look = expect_context::<Look>();
    let name = wording::place_of(&finding);
    let near = finding.designator_distance_mm.filter(|distance| *distance > 0.05);
    let near = near.map(|mm| format!(" · {} mm beside the body", wording::number(mm, 1))).unwrap_or_default();
    let area = finding.area_mm2.map_or_else(
        || wording::count(finding.area_px as usize, "pixel"),
        |area| format!("{} mm²", wording::number(area, if area < 10.0 { 1 } else { 0 })),
    );
    let beyond = match &finding.chance {
        Some(chance) => format!(
            "{} times the {} by which good boards differ there",
            wording::number(finding.times_spread().unwrap_or_default(), 0),
            wording::interval(unit, chance.spread.value()),
        ),
        None => format!("{} × its tolerance", wording::number(finding.significance, 1)),
    };
    let detail = format!(
        "{} · {beyond} · mean {} · {area}{near}",
        wording::sign(finding.sign),
        wording::difference(unit, finding.mean.value()),
    );
    let words = explain(&finding, unit);
    let told = [words.power, words.bathed].into_iter().filter(|text| !text.is_empty());
    let told = told.map(|text| view! { <span class="detail">{text}</span> }).collect::<Vec<_>>();
    let causes = format!("Usual causes (common practice): {}", words.causes);
    let weight = format!("{:.1}%", 100.0 * finding.significance / weightiest);
    let peak_at = finding.peak_at;
    let go = move |_| {
        look.chosen.set(Some(peak_at));
        if look.arrangement.get_untracked() == Arrangement::Single {
            look.subject.set(Subject::Difference);
        }
        look.go_to(peak_at);
    };
    view! {
        <button
            class="finding"
            data-testid=format!("finding-{}", place + 1)
            aria-pressed=move || (look.chosen.get() == Some(peak_at)).to_string()
            on:click=go
        >
            <span class="rank">{place + 1}</span>
            <span class="name">{name}</span>
            <span class="peak"><small>"peak "</small>{wording::difference(unit, finding.peak.value())}</span>
            <span class="detail">{detail}</span>
            {told}
            <span class="detail">{causes}</span>
            <span class="weight" aria-hidden="true">
                <i style:width=weight></i>
            </span>
        </button>
    }
}
