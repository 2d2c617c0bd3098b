//! The browser: the only modules of the page engine that touch it.
