//! The page: it shows what `analysis` finds, and turns what a person does into the session's commands.
//!
//! No physics lives here. Everything visible reads from [`store::Store`] and writes through it;
//! everything that touches the browser lives in [`platform`]; everything slow runs in the worker,
//! by [`compute`]. The library also builds natively, so that what it decides is tested without a browser.

pub mod notice;
pub mod platform;

pub mod compute;

pub mod arrival;
pub mod intake;
pub mod part_table;
pub mod sample;

pub mod store;

pub mod page;
pub mod stage;
pub mod steps;
pub mod time;
pub mod tour;
pub mod widgets;
pub mod wording;
