//! Planck's law, spectral and over a band.
