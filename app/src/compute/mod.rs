//! The slow work: what the page asks of the worker, and what comes back.
//!
//! [`protocol`] is what travels, [`client`] keeps the page's side in order, [`handle`] does the work.
//! None of them touches the browser: [`crate::platform::worker`] carries their messages.

pub mod client;
mod documents;
mod emissivity_mapping;
pub mod handle;
mod kept_steps;
pub mod protocol;
pub mod relevance;
mod repeats;
