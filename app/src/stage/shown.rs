//! Which picture answers to a subject at this moment, and in whose pixels.

use std::sync::Arc;

use analysis::comparison::Comparison;
use analysis::frame::{Difference, Frame, SurfaceKelvin};
use analysis::palette::{Palette, paint};
use analysis::session::Role;
use analysis::surface::range_of_emitting;
use analysis::uncertainty::expanded;

use leptos::prelude::*;

use super::look::{Plane, ScaleKind, Subject};
use super::recorded::{Recorded, RecordedPicture};
use super::view::{Extent, Spot};
use crate::store::{ComparisonState, Preview, Store};

/// A picture on the screen. Two are equal when they are the same picture, not merely alike.
#[derive(Debug, Clone)]
pub struct Shown {
    source: Source,
    /// In whose pixels it is.
    pub plane: Plane,
}

#[derive(Debug, Clone)]
enum Source {
    Captured(Preview),
    Compared(Arc<Comparison>, Subject),
    Recorded(Arc<RecordedPicture>),
}

impl PartialEq for Shown {
    fn eq(&self, other: &Self) -> bool {
        self.plane == other.plane
            && match (&self.source, &other.source) {
                (Source::Captured(a), Source::Captured(b)) => Arc::ptr_eq(&a.temperature, &b.temperature),
                (Source::Compared(a, s), Source::Compared(b, t)) => Arc::ptr_eq(a, b) && s == t,
                (Source::Recorded(a), Source::Recorded(b)) => Arc::ptr_eq(a, b),
                _ => false,
            }
    }
}

impl Shown {
    /// Its width and height in pixels.
    #[must_use]
    pub fn extent(&self) -> Extent {
        Extent::of_shape(match &self.source {
            Source::Recorded(picture) => return picture.extent(),
            Source::Captured(preview) => preview.temperature.shape(),
            Source::Compared(comparison, _) => comparison.difference.shape(),
        })
    }

    /// The lowest and highest value among surfaces that mostly emit: bare metal does not set the scale.
    /// `None` for the difference, whose scale follows its findings.
    #[must_use]
    pub fn range(&self) -> Option<(f32, f32)> {
        match &self.source {
            Source::Captured(Preview { temperature, emissivity }) => {
                range_of_emitting(temperature, emissivity)
            }
            Source::Compared(comparison, Subject::Baseline) => {
                range_of_emitting(&comparison.baseline, &comparison.emissivity)
            }
            Source::Compared(comparison, Subject::Unit) => {
                range_of_emitting(&comparison.unit, &comparison.emissivity)
            }
            Source::Compared(_, _) => return None,
            Source::Recorded(picture) => return picture.range(),
        }
        .ok()
        .flatten()
    }

    /// The value of the pixel nearest to a place.
    #[must_use]
    pub fn at(&self, place: Spot) -> Option<f32> {
        let (row, column) = pixel_at(place)?;
        match &self.source {
            Source::Captured(preview) => preview.temperature.at(row, column),
            Source::Compared(comparison, Subject::Baseline) => comparison.baseline.at(row, column),
            Source::Compared(comparison, Subject::Unit) => comparison.unit.at(row, column),
            Source::Compared(comparison, Subject::Difference) => comparison.difference.at(row, column),
            Source::Compared(comparison, Subject::Uncertainty) => {
                comparison.difference_uncertainty.at(row, column).map(expanded)
            }
            Source::Compared(comparison, Subject::Spread) => comparison.spread.as_ref()?.at(row, column),
            Source::Compared(_, Subject::Recording) => None,
            Source::Recorded(picture) => picture.at(row, column),
        }
    }

    /// Its colours, row by row.
    #[must_use]
    pub fn colors(&self, (lo, hi): (f64, f64), palette: Palette) -> Vec<u8> {
        let (lo, hi) = (lo as f32, hi as f32);
        match &self.source {
            Source::Captured(preview) => paint(&preview.temperature, lo, hi, palette),
            Source::Compared(comparison, Subject::Baseline) => paint(&comparison.baseline, lo, hi, palette),
            Source::Compared(comparison, Subject::Unit) => paint(&comparison.unit, lo, hi, palette),
            Source::Compared(comparison, Subject::Difference) => {
                paint(&comparison.difference, lo, hi, palette)
            }
            Source::Compared(comparison, Subject::Spread) => {
                paint(comparison.spread.as_ref().unwrap_or(&comparison.difference), lo, hi, palette)
            }
            Source::Recorded(picture) => picture.colors(lo, hi, palette),
            // No comparison yields a recording's picture.
            Source::Compared(comparison, Subject::Uncertainty | Subject::Recording) => {
                let uncertainty: Frame<Difference> = comparison.difference_uncertainty.map(expanded);
                paint(&uncertainty, lo, hi, palette)
            }
        }
    }

    /// The temperatures of a recording's picture.
    #[must_use]
    pub fn recorded_temperatures(&self) -> Option<&Frame<SurfaceKelvin>> {
        match &self.source {
            Source::Recorded(picture) => picture.temperatures(),
            Source::Captured(_) | Source::Compared(..) => None,
        }
    }

    /// The colour scale it is painted with.
    #[must_use]
    pub fn scale(&self) -> ScaleKind {
        match &self.source {
            Source::Captured(_) => ScaleKind::Temperature,
            Source::Compared(_, subject) => subject.scale(),
            Source::Recorded(picture) => picture.scale(),
        }
    }

    /// The standard uncertainty of its values, where it is known pixel by pixel.
    #[must_use]
    pub fn uncertainty(&self) -> Option<&Frame<Difference>> {
        match &self.source {
            Source::Compared(comparison, Subject::Unit) => Some(&comparison.unit_uncertainty),
            Source::Compared(comparison, Subject::Difference | Subject::Uncertainty) => {
                Some(&comparison.difference_uncertainty)
            }
            Source::Captured(_) | Source::Recorded(_) | Source::Compared(..) => None,
        }
    }
}

/// The row and column of the pixel nearest to a place; `None` left of or above the picture.
#[must_use]
pub fn pixel_at(place: Spot) -> Option<(usize, usize)> {
    let (column, row) = (place.x.round(), place.y.round());
    (column >= 0.0 && row >= 0.0).then_some((row as usize, column as usize))
}

/// The picture of a recording, or what it waits for. Reactive. It lies as the baseline does.
pub fn recorded(recorded: Recorded) -> Result<Shown, String> {
    let picture = recorded.picture.get()?;
    Ok(Shown { source: Source::Recorded(picture), plane: Plane::Baseline })
}

/// The picture of a subject, or what it waits for. Reactive.
///
/// While a new comparison is worked out the baseline is corrected on the spot, so that it follows a slider.
pub fn shown(store: Store, subject: Subject) -> Result<Shown, String> {
    let state = store.comparison().get();
    let up_to_date = matches!(state, ComparisonState::Ready(_));
    if subject == Subject::Baseline && !up_to_date {
        return captured(store, Role::Baseline).or_else(|why| compared(&state, subject).ok_or(why));
    }
    match (compared(&state, subject), subject) {
        (Some(shown), _) => Ok(shown),
        (None, Subject::Unit) => captured(store, Role::Unit),
        (None, Subject::Baseline) => captured(store, Role::Baseline),
        (None, Subject::Difference | Subject::Uncertainty | Subject::Spread | Subject::Recording) => {
            Err(match state {
                ComparisonState::NotReady(why) => why,
                ComparisonState::Failed(notice) => notice.what,
                ComparisonState::Ready(_) if subject == Subject::Spread => {
                    "Three or more known-good boards are needed to see how they differ".to_owned()
                }
                _ => "The difference is being worked out".to_owned(),
            })
        }
    }
}

/// The first capture of a role in its own pixels, or what is missing. Reactive.
pub fn captured(store: Store, role: Role) -> Result<Shown, String> {
    let hash =
        store.session().with(|session| session.with_role(role).next().map(|record| record.hash.clone()));
    let alone = store.session().with(|session| session.is_without_good_boards());
    let (missing, plane) = match role {
        Role::Unit if alone => ("No capture is named as the unit under test yet", Plane::Baseline),
        Role::Unit => ("No capture is named as the unit under test yet", Plane::UnitOwn),
        Role::Baseline | Role::Waiting | Role::Aside => ("No known-good capture yet", Plane::Baseline),
    };
    let hash = hash.ok_or_else(|| missing.to_owned())?;
    let preview = store
        .corrected(&hash)
        .ok_or_else(|| "Step 2 asks what the numbers of this capture mean".to_owned())?;
    Ok(Shown { source: Source::Captured(preview), plane })
}

fn compared(state: &ComparisonState, subject: Subject) -> Option<Shown> {
    let comparison = Arc::clone(state.latest()?);
    if subject == Subject::Spread && comparison.spread.is_none() {
        return None;
    }
    Some(Shown { source: Source::Compared(comparison, subject), plane: Plane::Baseline })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_belongs_to_the_pixel_whose_centre_is_nearest() {
        assert_eq!(pixel_at(Spot::new(2.4, 7.6)), Some((8, 2)));
        assert_eq!(pixel_at(Spot::new(-0.4, 0.0)), Some((0, 0)));
        assert_eq!(pixel_at(Spot::new(-0.6, 3.0)), None);
    }
}
