//! What the camera read under the cross-hair: in the capture that is looked at.

use analysis::content_hash::ContentHash;
use analysis::geometry::Point;
use analysis::inspection::place_reading::read_point;
use analysis::session::Role;
use analysis::units::Kelvin;
use leptos::prelude::*;

use crate::stage::look::{Arrangement, Cursor, Look, Plane, Subject};
use crate::stage::shown::pixel_at;
use crate::stage::view::Spot;
use crate::store::{ComparisonState, Store};
use crate::wording;

/// One reading, with the emissivity at 1.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraReading {
    /// The apparent temperature, to a hundredth of the unit that is shown.
    pub kelvin: Kelvin,
    /// The capture it was read in.
    pub from: ContentHash,
    /// What a person calls that capture.
    pub file: String,
    /// Row and column of the pixel in the middle.
    pub pixel: (usize, usize),
}

/// What the camera read, or why there is nothing to take. Reactive.
#[must_use]
pub fn under_cross_hair() -> Memo<Result<CameraReading, String>> {
    let (store, look) = (Store::expect(), expect_context::<Look>());
    Memo::new(move |_| read(store, look))
}

fn read(store: Store, look: Look) -> Result<CameraReading, String> {
    let cursor =
        look.cursor.get().ok_or("To take a reading from the picture, click the place in it first.")?;
    // The difference and its uncertainty are no captures: there the baseline is read, and named.
    let unit_alone = look.arrangement.get() == Arrangement::Single && look.subject.get() == Subject::Unit;
    let of_unit = cursor.plane == Plane::UnitOwn || unit_alone;
    let role = if of_unit { Role::Unit } else { Role::Baseline };
    let (from, file, unit) = store
        .session()
        .with(|session| {
            let record = session.with_role(role).next()?;
            let file = format!("{} ({})", record.file_name, wording::role(role));
            Some((record.hash.clone(), file, session.temperature_unit))
        })
        .ok_or("There is no capture to read yet: load one in step 2.")?;
    let at = if of_unit { on_unit(store, cursor)? } else { cursor.at };
    let outside = || format!("The cross-hair lies outside {file}.");
    let pixel = pixel_at(at).ok_or_else(outside)?;
    let apparent = store.apparent(&from).ok_or_else(|| {
        format!("Step 2 asks what the numbers of {file} mean; until then they are no temperatures.")
    })?;
    let reading = read_point(&*apparent, Point::new(at.x, at.y)).ok_or_else(outside)?;
    let shown = (unit.show(f64::from(reading.mean)) * 100.0).round() / 100.0;
    let kelvin = Kelvin::new(unit.read(shown)).map_err(|error| error.to_string())?;
    Ok(CameraReading { kelvin, from, file, pixel })
}

/// The place in the unit's own pixels: what is taken is what the camera read, not what was made of it.
fn on_unit(store: Store, cursor: Cursor) -> Result<Spot, String> {
    let alone = store.session().with(|session| session.is_without_good_boards());
    if cursor.plane == Plane::UnitOwn || alone {
        return Ok(cursor.at);
    }
    match store.comparison().get() {
        ComparisonState::Ready(comparison) => {
            let place = comparison.alignment.homography.inverse().apply(Point::new(cursor.at.x, cursor.at.y));
            Ok(Spot::new(place.x, place.y))
        }
        _ => Err("The unit is being aligned; its picture can be read in a moment.".to_owned()),
    }
}
