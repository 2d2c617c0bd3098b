//! What of a session a result depends on: when only the rest changes, the result stands.

use analysis::board::{BoardOutline, DatasheetCriteria, Netlist};
use analysis::capture::{BoardIdentity, CaptureMetadata, TestConditions};
use analysis::inspection::{Criteria, TwinCriteria};
use analysis::session::{CaptureRecord, Role, Session, Watch};
use analysis::uncertainty::InputUncertainty;
use analysis::units::{Kelvin, TemperatureUnit};

/// A capture's metadata without what is merely written about it: what its apparent temperature depends on.
#[must_use]
pub fn for_pixels(metadata: &CaptureMetadata) -> CaptureMetadata {
    CaptureMetadata {
        notes: String::new(),
        time: String::new(),
        board: BoardIdentity::default(),
        conditions: TestConditions::default(),
        ..metadata.clone()
    }
}

/// A session without what no comparison depends on: names, read-outs, contact readings, the verdict.
#[must_use]
pub fn for_comparison(session: &Session) -> Session {
    let mut relevant = session.clone();
    relevant.board = BoardIdentity::default();
    relevant.conditions.notes.clear();
    relevant.temperature_unit = TemperatureUnit::default();
    relevant.gauges.clear();
    relevant.layout.outline = BoardOutline::default();
    relevant.layout.outline_file.clear();
    relevant.verdict = None;
    relevant.readings.clear();
    relevant.procedures.clear();
    relevant.repeatability = None;
    relevant.other_units.clear();
    relevant.recordings.clear();
    relevant.watch = Watch::default();
    relevant.criteria.twins = TwinCriteria::default();
    // What is left in warmer air is worked out from the comparison.
    relevant.datasheet.worst_ambient = None;
    relevant.captures.retain(|record| matches!(record.role, Role::Baseline | Role::Unit));
    for record in &mut relevant.captures {
        record.metadata.notes.clear();
        record.metadata.time.clear();
        record.metadata.board = BoardIdentity::default();
        record.metadata.conditions.notes.clear();
    }
    relevant
}

/// A session reduced to what holding parts of one kind against each other depends on.
#[must_use]
pub fn for_twins(session: &Session) -> Session {
    let mut relevant = for_comparison(session);
    relevant.criteria = Criteria {
        twins: session.criteria.twins,
        false_alarms_per_hundred: session.criteria.false_alarms_per_hundred,
        least_difference: session.criteria.least_difference,
        ..Criteria::default()
    };
    forget_datasheets_and_nets(&mut relevant);
    relevant.input_uncertainty =
        InputUncertainty { netd: session.input_uncertainty.netd, ..InputUncertainty::default() };
    relevant
}

/// What parts may reach and how they are wired follows a judgement; it does not enter one.
fn forget_datasheets_and_nets(relevant: &mut Session) {
    relevant.datasheet = DatasheetCriteria::default();
    relevant.part_powers.clear();
    relevant.layout.limits.clear();
    relevant.layout.limits_file.clear();
    relevant.layout.netlist = Netlist::default();
    relevant.layout.netlist_file.clear();
}

/// A session reduced to what the judgement of any of its units depends on, beside the unit's own capture.
#[must_use]
pub fn for_every_unit(session: &Session) -> Session {
    let mut relevant = for_learning(session);
    relevant.criteria = Criteria { twins: TwinCriteria::default(), ..session.criteria };
    relevant.layout.limits = session.layout.limits.clone();
    relevant.layout.netlist = session.layout.netlist.clone();
    relevant.datasheet = DatasheetCriteria { worst_ambient: None, ..session.datasheet };
    relevant.input_uncertainty = session.input_uncertainty.clone();
    relevant
}

/// A session reduced to what the known-good boards are learned from.
#[must_use]
pub fn for_learning(session: &Session) -> Session {
    let mut relevant = for_comparison(session);
    relevant.captures.retain(|record| record.role == Role::Baseline);
    relevant.landmarks.clear();
    forget_datasheets_and_nets(&mut relevant);
    relevant.input_uncertainty = InputUncertainty::default();
    relevant.criteria = Criteria { rule: session.criteria.rule, ..Criteria::default() };
    // The session's own conditions stand in for captures that state none, and follow the unit.
    let says_all = |record: &CaptureRecord| {
        record.metadata.ambient.is_some() && record.metadata.conditions.power().is_some()
    };
    if relevant.captures.iter().all(says_all) {
        relevant.conditions = TestConditions::default();
        relevant.ambient = Kelvin::ROOM;
    }
    relevant
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::session::{Command, Outcome, Verdict};
    use analysis::units::Kelvin;

    #[test]
    fn a_verdict_leaves_the_comparison_and_an_ambient_does_not() {
        let before = Session::default();
        let mut judged = before.clone();
        let verdict =
            Verdict { outcome: Outcome::Fail, reason: "U7 runs hot".into(), judged_by: String::new() };
        judged.apply(Command::Judge { verdict }).unwrap();
        assert_eq!(for_comparison(&judged), for_comparison(&before));
        let mut warmer = before.clone();
        warmer.apply(Command::SetAmbient { ambient: Kelvin::new(300.0).unwrap() }).unwrap();
        assert_ne!(for_comparison(&warmer), for_comparison(&before));
    }

    #[test]
    fn the_warmest_air_rejudges_no_unit_and_a_file_without_effect_no_twins() {
        let before = Session::default();
        let mut warmest = before.clone();
        let air = Kelvin::new(328.0).unwrap();
        let datasheet = DatasheetCriteria { worst_ambient: Some(air), ..before.datasheet };
        warmest.apply(Command::SetDatasheetCriteria { datasheet }).unwrap();
        assert_eq!(for_every_unit(&warmest), for_every_unit(&before));
        let mut stricter = before.clone();
        let datasheet = DatasheetCriteria { power_share: 0.2, ..before.datasheet };
        stricter.apply(Command::SetDatasheetCriteria { datasheet }).unwrap();
        assert_ne!(for_every_unit(&stricter), for_every_unit(&before));
        let mut named = before.clone();
        let netlist = Netlist::default();
        named.apply(Command::LoadNetlist { file_name: "board.ipc".into(), netlist }).unwrap();
        named.layout.limits_file = "limits.csv".into();
        assert_eq!(for_twins(&named), for_twins(&before));
    }
}
