//! The bench sheet as a person works through it: one verb a deed.
