//! What loading captures does to a session, as commands.

use analysis::capture::{CaptureMetadata, CornerMark};
use analysis::content_hash::ContentHash;
use analysis::session::{CaptureRecord, Command, Role, Session};

use crate::intake::role_on_arrival;
use crate::notice::Notice;

/// A capture that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrived {
    /// Names its bytes.
    pub hash: ContentHash,
    /// The name of its file.
    pub file_name: String,
    /// What its sidecar says.
    pub metadata: CaptureMetadata,
    /// Whether there was a sidecar.
    pub has_sidecar: bool,
    /// Whether its pixels were there before; a session that was opened alone lacks them.
    pub was_known: bool,
    /// What it is for, where that is known beforehand and not to be guessed.
    pub role: Option<Role>,
}

/// The commands that take captures into `session`, and what there is to tell.
///
/// A capture that is there already is only described anew, where it now comes with a sidecar, and gets the role
/// that is asked for.
#[must_use]
pub fn welcome(session: &Session, arrived: Vec<Arrived>) -> (Vec<Command>, Vec<Notice>) {
    let mut draft = session.clone();
    let mut commands = Vec::new();
    let mut notices = Vec::new();
    for capture in arrived {
        for command in commands_for(&draft, capture, &mut notices) {
            // Every command names what this draft holds; one that does not is left out here and there.
            if draft.apply(command.clone()).is_ok() {
                commands.push(command);
            }
        }
    }
    (commands, notices)
}

fn commands_for(draft: &Session, capture: Arrived, notices: &mut Vec<Notice>) -> Vec<Command> {
    let Arrived { hash, file_name, metadata, has_sidecar, was_known, role: asked } = capture;
    if let Some(loaded) = draft.capture(&hash) {
        let assigned = asked.map(|role| Command::AssignRole { hash: hash.clone(), role });
        if has_sidecar {
            let described = Command::DescribeCapture { hash: hash.clone(), metadata };
            return std::iter::once(described).chain(assigned).collect();
        }
        if assigned.is_some() {
            return assigned.into_iter().collect();
        }
        if was_known {
            let told = format!("{file_name} is already loaded as {}.", loaded.file_name);
            notices.push(Notice::information(told));
        }
        return Vec::new();
    }
    let has_baseline = draft.with_role(Role::Baseline).next().is_some();
    let guessed = || match metadata.conditions.voltage {
        // A board without supply is no baseline of a powered one: it is kept for the emissivity procedures.
        Some(0.0) => Role::Aside,
        _ => role_on_arrival(&file_name, has_baseline, draft.unit().is_some()),
    };
    // From the very first: a capture that is a baseline for a moment would take the marks of the board with it.
    let role = asked.unwrap_or_else(guessed);
    let mut commands = Vec::new();
    // The first baseline is the frame of everything: known places in it are known places of the session.
    if role == Role::Baseline
        && !has_baseline
        && draft.layout.corners.is_empty()
        && !metadata.corners.is_empty()
    {
        let corners = metadata.corners.iter().copied().map(CornerMark::on_baseline);
        commands.push(Command::MarkCorners { corners: corners.collect() });
    }
    commands.push(Command::AddCapture { record: CaptureRecord { hash, file_name, role, metadata } });
    commands
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::geometry::Point;

    fn arrived(file_name: &str) -> Arrived {
        Arrived {
            hash: ContentHash::of(file_name.as_bytes()),
            file_name: file_name.to_owned(),
            metadata: CaptureMetadata::default(),
            has_sidecar: false,
            was_known: false,
            role: None,
        }
    }

    fn after(session: &Session, captures: Vec<Arrived>) -> (Session, Vec<Notice>) {
        let (commands, notices) = welcome(session, captures);
        let mut session = session.clone();
        for command in commands {
            session.apply(command).unwrap();
        }
        (session, notices)
    }

    #[test]
    fn the_first_capture_is_the_baseline_and_the_next_the_unit() {
        let (session, _) =
            after(&Session::default(), vec![arrived("1.tiff"), arrived("2.tiff"), arrived("3.tiff")]);
        let roles: Vec<_> = session.captures.iter().map(|record| record.role).collect();
        assert_eq!(roles, [Role::Baseline, Role::Unit, Role::Baseline]);
    }

    #[test]
    fn corners_of_the_first_baseline_become_those_of_the_session() {
        let mark = CornerMark { pixel: Point::new(4.0, 5.0), board: Point::new(0.0, 0.0) };
        let mut with_corners = arrived("baseline.tiff");
        with_corners.metadata.corners = vec![mark];
        let (session, _) = after(&Session::default(), vec![with_corners.clone()]);
        assert_eq!(session.layout.corners.len(), 1);
        let mut second = arrived("baseline-2.tiff");
        second.metadata.corners = vec![mark, mark];
        let (session, _) = after(&session, vec![second]);
        assert_eq!(session.layout.corners.len(), 1);
    }

    #[test]
    fn a_capture_that_comes_for_a_role_never_has_another_and_leaves_the_marked_corners_alone() {
        let mark = CornerMark { pixel: Point::new(4.0, 5.0), board: Point::new(0.0, 0.0) };
        let mut session = Session::default();
        session.apply(Command::MarkCorners { corners: vec![CornerMark::on_baseline(mark)] }).unwrap();
        for role in [Role::Unit, Role::Aside, Role::Waiting, Role::Baseline] {
            let mut pulled = Arrived { role: Some(role), ..arrived("run-frame-41.tiff") };
            pulled.metadata.corners = vec![mark, mark];
            let (after, _) = after(&session, vec![pulled]);
            assert_eq!(after.captures[0].role, role);
            assert_eq!(after.layout.corners, session.layout.corners, "{role:?}");
        }
    }

    #[test]
    fn a_capture_that_is_there_and_comes_again_for_another_role_gets_it() {
        let (session, _) = after(&Session::default(), vec![arrived("1.tiff"), arrived("2.tiff")]);
        for has_sidecar in [true, false] {
            let again =
                Arrived { role: Some(Role::Aside), has_sidecar, was_known: true, ..arrived("2.tiff") };
            let (after, notices) = after(&session, vec![again]);
            assert_eq!(after.captures[1].role, Role::Aside);
            assert!(after.captures.len() == 2 && notices.is_empty());
        }
    }

    #[test]
    fn a_capture_loaded_twice_is_told_and_not_added() {
        let (session, _) = after(&Session::default(), vec![arrived("1.tiff")]);
        let twice = Arrived { was_known: true, ..arrived("1.tiff") };
        let (again, notices) = after(&session, vec![twice]);
        assert_eq!(again, session);
        assert_eq!(notices.len(), 1);
    }

    #[test]
    fn the_missing_file_of_an_opened_session_comes_back_in_silence() {
        let (session, _) = after(&Session::default(), vec![arrived("1.tiff")]);
        let (again, notices) = after(&session, vec![arrived("1.tiff")]);
        assert_eq!(again, session);
        assert!(notices.is_empty());
    }

    #[test]
    fn a_late_sidecar_describes_the_capture_that_is_there() {
        let (session, _) = after(&Session::default(), vec![arrived("1.tiff")]);
        let mut described = arrived("1.tiff");
        described.has_sidecar = true;
        described.metadata.notes = "tilted".to_owned();
        let (session, notices) = after(&session, vec![described]);
        assert_eq!(session.captures.len(), 1);
        assert_eq!(session.captures[0].metadata.notes, "tilted");
        assert!(notices.is_empty());
    }
}
