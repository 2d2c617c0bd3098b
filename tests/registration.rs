//! Alignment and warping against known warps and independent libraries.
