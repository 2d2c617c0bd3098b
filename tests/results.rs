//! The result file: self-contained, escaped, and the way back into a session.
