//! Read-outs that stay: points, areas and lines with their least, mean and greatest values.

use analysis::comparison::Comparison;
use analysis::geometry::{BaselinePixels, Point};
use analysis::inspection::place_reading::PlaceReading;
use analysis::session::{Command, Gauge, GaugePlace};
use analysis::uncertainty::{expanded, is_skewed};
use analysis::units::TemperatureUnit;
use leptos::prelude::*;

use super::look::{Look, Tool};
use super::profile::Profile;
use super::tool_button::ToolButton;
use crate::store::Store;
use crate::widgets::{Icon, Sign};
use crate::wording;

const TOOLS: [Tool; 3] = [Tool::PointGauge, Tool::AreaGauge, Tool::LineGauge];

/// The read-outs under the picture.
#[component]
pub fn Gauges() -> impl IntoView {
    let store = Store::expect();
    let gauges = Memo::new(move |_| store.session().with(|session| session.gauges.clone()));
    let unit = Memo::new(move |_| store.session().with(|session| session.temperature_unit));
    let tools = TOOLS.map(|tool| view! { <ToolButton tool=tool /> });
    let rows = move || {
        let state = store.comparison().get();
        let unit = unit.get();
        let row = |(index, gauge): (usize, Gauge)| {
            let place = gauge.place;
            let values = state.latest().map(|comparison| Values::new(comparison, place));
            view! { <GaugeRow index=index gauge=gauge values=values unit=unit /> }
        };
        gauges.get().into_iter().enumerate().map(row).collect::<Vec<_>>()
    };
    let summary = move || match gauges.with(Vec::len) {
        0 => "Read-outs".to_owned(),
        count => format!("Read-outs ({count})"),
    };
    view! {
        <details class="gauges" data-testid="gauges">
            <summary>{summary}</summary>
            <div class="row">{tools}</div>
            <p class="remark" hidden=move || gauges.with(Vec::is_empty)>
                "A point is the mean over 3 × 3 pixels. ± is half of the 95 % interval of the mean: no more than its pixels' own, averaged. It is left out where the emissivity is known to no better than a tenth of itself."
            </p>
            <div class="gauge-body" hidden=move || gauges.with(Vec::is_empty)>
                <table class="table">
                    <thead>
                        <tr>
                            <th scope="col">"Name"</th>
                            <th scope="col">"Baseline, mean"</th>
                            <th scope="col">"Unit, least"</th>
                            <th scope="col">"Unit, mean"</th>
                            <th scope="col">"Unit, greatest"</th>
                            <th scope="col">"Difference, mean"</th>
                            <th></th>
                        </tr>
                    </thead>
                    <tbody>{rows}</tbody>
                </table>
                <Profile />
            </div>
        </details>
    }
}

/// The values of one read-out.
#[derive(Debug, Clone, Copy)]
struct Values {
    baseline: Option<PlaceReading>,
    unit: Option<PlaceReading>,
    difference: Option<PlaceReading>,
    /// Half of the 95 % intervals of the unit's mean and of the mean difference, where ± is right.
    within: Option<(f64, f64)>,
}

impl Values {
    fn new(comparison: &Comparison, place: GaugePlace) -> Self {
        Self {
            baseline: place.read(&comparison.baseline),
            unit: place.read(&comparison.unit),
            difference: place.read(&comparison.difference),
            within: within(comparison, place),
        }
    }
}

/// What the means of a place may be off by: a mean is known no worse than its values on average, however their errors
/// hang together. `None` where the emissivity of any of its pixels is too unsure for ±.
fn within(comparison: &Comparison, place: GaugePlace) -> Option<(f64, f64)> {
    let lowest = place.read(&comparison.emissivity)?.least;
    let most_unsure = place.read(&comparison.emissivity_uncertainty)?.greatest;
    if is_skewed(f64::from(lowest), f64::from(most_unsure)) {
        return None;
    }
    let unit = place.read(&comparison.unit_uncertainty)?.mean;
    let difference = place.read(&comparison.difference_uncertainty)?.mean;
    Some((f64::from(expanded(unit)), f64::from(expanded(difference))))
}

#[component]
fn GaugeRow(
    /// Its place in the session.
    index: usize,
    /// The read-out.
    gauge: Gauge,
    /// Its values, once there is a comparison.
    values: Option<Values>,
    /// The unit to show them in.
    unit: TemperatureUnit,
) -> impl IntoView {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    let temperature = |reading: Option<PlaceReading>, read: fn(PlaceReading) -> f32| {
        reading.map_or_else(|| "–".to_owned(), |r| wording::temperature(unit, f64::from(read(r))))
    };
    let baseline = values.and_then(|values| values.baseline);
    let seen = values.and_then(|values| values.unit);
    let difference = values.and_then(|values| values.difference);
    let within = values.and_then(|values| values.within);
    let difference = difference.map_or_else(
        || "–".to_owned(),
        |reading| match within {
            Some((_, within)) => wording::difference_within(unit, f64::from(reading.mean), within),
            None => wording::difference(unit, f64::from(reading.mean)),
        },
    );
    let mean = match (seen, within) {
        (Some(reading), Some((within, _))) => {
            wording::temperature_within(unit, f64::from(reading.mean), within)
        }
        _ => temperature(seen, |r| r.mean),
    };
    let (name, place) = (gauge.name.clone(), gauge.place);
    let rename = move |event| {
        let gauge = Gauge { name: event_target_value(&event), place };
        store.dispatch(Command::ChangeGauge { index, gauge });
    };
    view! {
        <tr>
            <th scope="row">
                <input type="text" aria-label="Name of the read-out" value=name.clone() on:change=rename />
            </th>
            <td>{temperature(baseline, |r| r.mean)}</td>
            <td>{temperature(seen, |r| r.least)}</td>
            <td>{mean}</td>
            <td>{temperature(seen, |r| r.greatest)}</td>
            <td>{difference}</td>
            <td class="row">
                <button class="quiet" on:click=move |_| look.go_to(middle(place))>
                    "Show"
                </button>
                <button
                    class="quiet"
                    aria-label=format!("Take away {name}")
                    on:click=move |_| store.dispatch(Command::RemoveGauge { index })
                >
                    <Icon sign=Sign::Remove />
                </button>
            </td>
        </tr>
    }
}

fn middle(place: GaugePlace) -> Point<BaselinePixels> {
    match place {
        GaugePlace::Point { at } => at,
        GaugePlace::Area { from, to } | GaugePlace::Line { from, to } => {
            Point::new((from.x + to.x) / 2.0, (from.y + to.y) / 2.0)
        }
    }
}
