//! How large a capture may be: a header of a few bytes can claim billions of pixels, and a browser
//! tab has a few gigabytes at most.

/// The most a reader takes on. A file that asks for more is refused before memory is set aside.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ReadLimits {
    /// Pixels in one page.
    pub pixels: u64,
    /// Pixels of all pages of a burst that is averaged.
    pub burst_pixels: u64,
    /// Pages in one file.
    pub pages: usize,
}

impl Default for ReadLimits {
    /// 64 megapixels a page, 1024 megapixels a burst, 4096 pages: two hundred times the usual
    /// 640 × 480 picture, and still within a browser tab's memory.
    fn default() -> Self {
        Self { pixels: 64 << 20, burst_pixels: 1 << 30, pages: 4096 }
    }
}
