//! The slow work: what the page asks of the worker, and what comes back.
