//! What a camera and a bench can tell apart, against simulated captures with known components.
