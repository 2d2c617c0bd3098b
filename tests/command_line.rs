//! The command-line program on the sample captures.
