//! The main job on simulated boards whose truth is known.
