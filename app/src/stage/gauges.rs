//! Read-outs that stay: points, areas and lines with their least, mean and greatest values.

use analysis::comparison::Comparison;
use analysis::geometry::{BaselinePixels, Point};
use analysis::inspection::place_reading::PlaceReading;
use analysis::session::{Command, Gauge, GaugePlace};
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
}

impl Values {
    fn new(comparison: &Comparison, place: GaugePlace) -> Self {
        Self {
            baseline: place.read(&comparison.baseline),
            unit: place.read(&comparison.unit),
            difference: place.read(&comparison.difference),
        }
    }
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
    let difference =
        difference.map_or_else(|| "–".to_owned(), |r| wording::difference(unit, f64::from(r.mean)));
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
            <td>{temperature(seen, |r| r.mean)}</td>
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
