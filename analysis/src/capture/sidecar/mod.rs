//! The sidecar: a small JSON file beside a capture that says what its numbers mean.
//!
//! For a capture `unit7.tiff` it is called `unit7.tiff.json`, or `unit7.json`. A complete example:
//!
//! ```json
#![doc = include_str!("example.json")]
//! ```
//!
//! Only `boardglow_sidecar` (the version, 1) is required; whatever else is left out stays unsaid, and
//! `null` counts as left out. A field that is not known gives a warning, a value that cannot be an error.
//!
//! | field | holds |
//! |---|---|
//! | `quantity` | `"temperature"`, `"radiance"` or `"counts"` |
//! | `unit` | of temperatures: `"degC"`, `"degF"` or `"K"` |
//! | `scale`, `offset` | value = scale · number + offset, in `unit`, or in W/(m²·sr) for radiance. Whole numbers need a stated scale; for numbers with fractions it is 1 unless stated. The offset is 0 unless stated |
//! | `calibration` | for counts, one of the three forms below |
//! | `camera_correction` | the correction that the camera has already made of temperatures, to be undone: `emissivity` and `reflected_degC`, and where the path absorbs `transmittance` and `path_degC` |
//! | `band_um` | spectral band `[lower, upper]`, µm |
//! | `netd_mK` | noise equivalent temperature difference, mK |
//! | `ambient_degC` | air temperature, °C |
//! | `reflected_degC` | reflected apparent temperature measured with this capture, °C; the session's where absent |
//! | `distance_m` | camera to board, m |
//! | `time` | when it was taken, RFC 3339 preferred |
//! | `pixel_pitch_mm` | millimetres on the board per pixel |
//! | `page` | of a file with several: a number from 1, or `"mean"` for a burst |
//! | `frame_interval_s`, `frame_times_s` | of a sequence: seconds from frame to frame, or a rising list with one time for each frame |
//! | `events` | what was done during a sequence: `at_s` on the clock of the frames, `name`, and from then on `voltage_V`, `current_A`, `frequency_Hz` |
//! | `test` | `voltage_V`, `current_A`, `frequency_Hz`, `warm_up_min`, `notes` |
//! | `board` | `product` and `serial`, as text |
//! | `corners` | places known in the picture and on the board: `pixel` `[x, y]` and `mm` `[x, y]` |
//! | `stuck_pixels` | pixels without a reading, `[x, y]` from `[0, 0]` at the top left |
//! | `saturated_at` | raw numbers at or above this are saturated |
//! | `notes` | free text |
//! | `invented` | `true` for a simulated capture |
//!
//! The forms of `calibration`:
//!
//! - `{"form": "linear", "gain": 0.002, "offset": -3.1}`: radiance = gain · counts + offset, W/(m²·sr);
//! - `{"form": "table", "unit": "degC", "points": [[9000, 20.0], [12000, 60.0]]}`: pairs of counts and
//!   apparent temperature, both monotone and counts rising, `unit` being `"degC"` or `"K"`;
//! - `{"form": "sakuma-hattori", "a": 9.9, "b": 20.0, "c": 500000.0, "offset": 1200.0}`: counts =
//!   c / (exp(14387.77 / (a·T + b)) − 1) + offset, T in K, a in µm, b in µm·K.

mod error;
mod fields;
mod read;
mod write;

pub use error::{SidecarError, SidecarWarning, SidecarWriteError};
pub use read::parse_sidecar;
pub use write::write_sidecar;

/// A complete sidecar, the one of this module's documentation.
pub const EXAMPLE: &str = include_str!("example.json");

/// What the sidecar of this capture may be called, the first name preferred.
#[must_use]
pub fn sidecar_names(capture_file: &str) -> [String; 2] {
    let directory = capture_file.rfind(['/', '\\']).map_or(0, |end| end + 1);
    let stem_end = capture_file.rfind('.').filter(|&dot| dot > directory).unwrap_or(capture_file.len());
    let stem = capture_file.get(..stem_end).unwrap_or(capture_file);
    [format!("{capture_file}.json"), format!("{stem}.json")]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_names_of_a_sidecar_are_offered() {
        assert_eq!(sidecar_names("unit7.tiff"), ["unit7.tiff.json", "unit7.json"]);
        assert_eq!(sidecar_names("run.2/unit7"), ["run.2/unit7.json", "run.2/unit7.json"]);
        assert_eq!(sidecar_names(".hidden"), [".hidden.json", ".hidden.json"]);
        assert_eq!(sidecar_names("größe.µ.tif"), ["größe.µ.tif.json", "größe.µ.json"]);
    }
}
