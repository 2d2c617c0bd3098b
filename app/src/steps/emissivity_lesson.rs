//! What emissivity does, shown at the place under the cross-hair. The values come from `analysis`.

use analysis::comparison::surroundings;
use analysis::radiometry::Correction;
use analysis::radiometry::shares::{Shares, shares};
use analysis::surface::finish_at;
use analysis::units::Kelvin;
use leptos::prelude::*;

use crate::stage::bodies::Bodies;
use crate::stage::look::{Look, Plane};
use crate::stage::shown::pixel_at;
use crate::store::Store;
use crate::wording;

/// What the camera sees of one place.
#[derive(Debug, Clone, PartialEq)]
struct Sight {
    file_name: String,
    apparent: Kelvin,
    correction: Correction,
    shares: Option<Shares>,
}

/// The place under the cross-hair, in the first baseline capture. Reactive.
fn sight(store: Store, look: Look, bodies: Bodies) -> Option<Sight> {
    let cursor = look.cursor.get().filter(|cursor| cursor.plane == Plane::Baseline)?;
    let session = store.session().get();
    let record = session.with_role(analysis::session::Role::Baseline).next()?;
    let (row, column) = pixel_at(cursor.at)?;
    let apparent = Kelvin::new(f64::from(store.apparent(&record.hash)?.at(row, column)?)).ok()?;
    let place = analysis::geometry::Point::new(cursor.at.x, cursor.at.y);
    let map = bodies.board_to_picture().get();
    let (_, finish) = finish_at(&session.surface, place, map.as_ref());
    let surroundings = surroundings(&session, &record.hash);
    let correction = Correction { emissivity: finish.emissivity, surroundings };
    let band = record.metadata.band.unwrap_or(session.band);
    let file_name = record.file_name.clone();
    Some(Sight { file_name, apparent, correction, shares: shares(apparent, &correction, band).ok() })
}

/// The student's corner.
#[component]
pub fn EmissivityLesson() -> impl IntoView {
    let (store, look, bodies) = (Store::expect(), expect_context::<Look>(), expect_context::<Bodies>());
    let sight = Memo::new(move |_| sight(store, look, bodies));
    let unit = move || store.session().with(|session| session.temperature_unit);
    let figures = move || sight.get().map(|sight| view! { <SightFigures sight=sight unit=unit() /> });
    view! {
        <details class="lesson" data-testid="emissivity-lesson">
            <summary>"What emissivity does"</summary>
            <p class="remark">
                "A surface sends out only the fraction of a black body's radiation that its emissivity states, and mirrors its surroundings with the rest. The camera sees the sum. Dull solder mask sends nearly everything itself; bare metal shows mostly the room, so it reads near room temperature however hot it is."
            </p>
            {figures}
            <p class="remark" hidden=move || sight.with(Option::is_some)>
                "Click the baseline picture to put the cross-hair on a place, then pull the slider."
            </p>
        </details>
    }
}

#[component]
fn SightFigures(
    /// What the camera sees.
    sight: Sight,
    /// The unit to show it in.
    unit: analysis::units::TemperatureUnit,
) -> impl IntoView {
    let emissivity = sight.correction.emissivity.value();
    let shown = |kelvin: Kelvin| wording::temperature(unit, kelvin.value());
    let surface = sight.shares.as_ref().map_or_else(
        || "no physical answer: the surroundings alone would send more".to_owned(),
        |shares| shown(shares.surface),
    );
    let split = sight.shares.map(|shares| {
        let own = wording::percent(shares.own);
        let foreign = wording::percent(shares.reflected + shares.path);
        view! {
            <div class="split" aria-hidden="true">
                <span class="own" style:width=format!("{:.1}%", shares.own * 100.0)></span>
                <span class="foreign"></span>
            </div>
            <p class="remark" data-testid="lesson-shares">
                {format!("Of what the camera sees {own} is the surface's own and {foreign} comes from elsewhere.")}
            </p>
        }
    });
    view! {
        <dl class="figures">
            <div>
                <dt>{format!("In {} the camera sees", sight.file_name)}</dt>
                <dd data-testid="lesson-apparent">{shown(sight.apparent)}</dd>
            </div>
            <div>
                <dt>{format!("With emissivity {emissivity:.2} the surface is at")}</dt>
                <dd data-testid="lesson-surface">{surface}</dd>
            </div>
        </dl>
        {split}
    }
}
