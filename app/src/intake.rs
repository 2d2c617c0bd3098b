//! What a dropped file is, by what it holds and by its name.
