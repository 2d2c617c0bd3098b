//! Undo and redo: the sessions that were, in order.
//!
//! A session is small (it holds no pixels), so history keeps whole sessions and undo is a swap;
//! there are no inverse commands to get wrong.

use super::{Command, Refusal, Session};

/// How many steps back are kept.
const DEPTH: usize = 200;

/// A session with its past and its undone future.
#[derive(Debug, Clone, Default)]
pub struct History {
    present: Session,
    past: Vec<Session>,
    future: Vec<Session>,
    in_gesture: bool,
}

impl History {
    /// A history that starts at `session`.
    #[must_use]
    pub fn starting_at(session: Session) -> Self {
        Self { present: session, ..Self::default() }
    }

    /// The session as it is now.
    #[must_use]
    pub const fn present(&self) -> &Session {
        &self.present
    }

    /// Carries out a command and remembers the session before it. A command that changes nothing
    /// leaves no step behind.
    ///
    /// # Errors
    /// The session's [`Refusal`]; the history is then as it was.
    pub fn apply(&mut self, command: Command) -> Result<(), Refusal> {
        let mut next = self.present.clone();
        next.apply(command)?;
        if next == self.present {
            return Ok(());
        }
        let before = std::mem::replace(&mut self.present, next);
        self.future.clear();
        // Within a gesture the step back was kept when it began.
        if !self.in_gesture {
            self.remember(before);
        }
        Ok(())
    }

    /// Takes up another session as one step, as when a saved one is opened: undo leads back.
    pub fn replace(&mut self, session: Session) {
        if session == self.present {
            return;
        }
        let before = std::mem::replace(&mut self.present, session);
        self.future.clear();
        if !self.in_gesture {
            self.remember(before);
        }
    }

    /// Begins a gesture, such as a drag: all commands until [`end_gesture`](Self::end_gesture) are one step.
    pub fn begin_gesture(&mut self) {
        if !self.in_gesture {
            self.remember(self.present.clone());
            self.in_gesture = true;
        }
    }

    /// Ends a gesture. One that changed nothing leaves no step behind.
    pub fn end_gesture(&mut self) {
        self.in_gesture = false;
        if self.past.last() == Some(&self.present) {
            self.past.pop();
        }
    }

    /// Whether there is a step to undo.
    #[must_use]
    pub fn can_undo(&self) -> bool {
        !self.past.is_empty()
    }

    /// Whether there is a step to redo.
    #[must_use]
    pub fn can_redo(&self) -> bool {
        !self.future.is_empty()
    }

    /// One step back; nothing happens at the beginning.
    pub fn undo(&mut self) {
        self.end_gesture();
        if let Some(before) = self.past.pop() {
            self.future.push(std::mem::replace(&mut self.present, before));
        }
    }

    /// One step forward again; nothing happens at the end.
    pub fn redo(&mut self) {
        if let Some(after) = self.future.pop() {
            self.past.push(std::mem::replace(&mut self.present, after));
        }
    }

    fn remember(&mut self, session: Session) {
        if self.past.len() == DEPTH {
            self.past.remove(0);
        }
        self.past.push(session);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Kelvin;

    fn ambient(celsius: f64) -> Command {
        Command::SetAmbient { ambient: Kelvin::from_celsius(celsius).unwrap() }
    }

    #[test]
    fn undo_and_redo_walk_the_same_path() {
        let mut history = History::default();
        for celsius in [20.0, 25.0, 30.0] {
            history.apply(ambient(celsius)).unwrap();
        }
        let last = history.present().clone();
        while history.can_undo() {
            history.undo();
        }
        assert_eq!(history.present(), &Session::default());
        while history.can_redo() {
            history.redo();
        }
        assert_eq!(history.present(), &last);
    }

    #[test]
    fn a_gesture_is_one_step() {
        let mut history = History::default();
        history.begin_gesture();
        for step in 0..50 {
            history.apply(ambient(20.0 + f64::from(step))).unwrap();
        }
        history.end_gesture();
        history.undo();
        assert_eq!(history.present(), &Session::default());
        assert!(!history.can_undo());
    }

    #[test]
    fn a_gesture_without_effect_leaves_no_step() {
        let mut history = History::default();
        history.begin_gesture();
        history.end_gesture();
        assert!(!history.can_undo());
    }

    #[test]
    fn an_opened_session_leads_back_to_the_one_before() {
        let mut history = History::default();
        history.apply(ambient(30.0)).unwrap();
        let before = history.present().clone();
        history.replace(Session::default());
        assert_eq!(history.present(), &Session::default());
        history.undo();
        assert_eq!(history.present(), &before);
    }

    #[test]
    fn a_refused_command_leaves_no_step() {
        let mut history = History::default();
        assert!(history.apply(Command::RemoveRegion { index: 0 }).is_err());
        assert!(!history.can_undo());
    }
}
