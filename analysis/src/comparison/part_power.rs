//! What each part with a datasheet turns into heat on this unit.

use crate::board::{PartLimit, PartPower, PowerOrigin};
use crate::inspection::Finding;
use crate::propagation::combined;
use crate::session::Session;
use crate::units::Watts;

/// The power of every part that the limits table knows and whose power is known, with its designator.
///
/// What was measured on the unit counts; else what the table states for a healthy board, with the change of heat that
/// a finding on the part showed.
pub(super) fn part_powers(session: &Session, findings: &[Finding]) -> Vec<(String, PartPower)> {
    let share = session.datasheet.power_share;
    let power = |limit: &PartLimit| {
        let measured = session.part_powers.iter().find(|(part, _)| *part == limit.designator);
        if let Some(watts) = measured.and_then(|(_, reading)| reading.watts().ok()) {
            let standard_uncertainty = share * watts.value();
            return Some(PartPower { watts, standard_uncertainty, origin: PowerOrigin::Measured });
        }
        let stated = limit.power?;
        let own = share * stated.value();
        let on_it = |finding: &&Finding| {
            finding.designator.as_ref() == Some(&limit.designator) && !finding.is_beside()
        };
        let change = findings.iter().find(on_it).and_then(|finding| finding.chance.as_ref()?.watts);
        Some(match change {
            None => PartPower { watts: stated, standard_uncertainty: own, origin: PowerOrigin::Stated },
            Some([watts, uncertainty]) => PartPower {
                // A part that lacks more than it is said to have makes no heat.
                watts: Watts::new((stated.value() + watts).max(0.0)).unwrap_or(stated),
                standard_uncertainty: combined([own, uncertainty]),
                origin: PowerOrigin::StatedAndFound,
            },
        })
    };
    let limits = session.layout.limits.iter();
    limits.filter_map(|limit| Some((limit.designator.clone(), power(limit)?))).collect()
}
