//! Radiometry against handbook tables, independent quadrature and worked cases.
