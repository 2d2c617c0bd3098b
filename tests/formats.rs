//! Readers against files that independent libraries wrote, and against damaged ones.
