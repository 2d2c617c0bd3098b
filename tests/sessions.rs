//! The session under random commands.
