//! Parts in the warmest air that the person states.

use super::{Comparison, ambient_of};
use crate::inspection::{PartReading, WorstCase, worst_case};
use crate::session::Session;

/// What a part has left in the warmest air; `None` where no air is stated or the part has no limit to hold it against.
#[must_use]
pub fn in_warmest_air(session: &Session, comparison: &Comparison, part: &PartReading) -> Option<WorstCase> {
    let air = session.datasheet.worst_ambient?;
    let limit = session.layout.limits.iter().find(|limit| limit.designator == part.designator)?;
    let taken_in = ambient_of(session, &comparison.unit_capture);
    worst_case(part, limit, taken_in, session.input_uncertainty.ambient, air)
}
