//! The values along a line.
