"""Writes the TIFF files beside it with tifffile, independent of the crate that reads them.

Run in a scratch environment: pip install numpy tifffile imagecodecs; python make.py
Written with tifffile 2026.3.3, numpy 2.4.6. All pictures are invented ramps; tests/formats.rs
knows their values by these formulas, with x the column, y the row, p the page from 0:

    u8      (7 x + 13 y) mod 256
    u16     20000 + 100 y + x + 1000 p
    i16     -300 + 10 y + x
    u32     16777216 + 3 (x + y)          (odd ones do not fit a 32-bit float)
    float   20 + x / 8 + y / 4            (exact in binary; page p adds p)
"""

from pathlib import Path

import numpy as np
import tifffile

HERE = Path(__file__).parent
ROWS, COLUMNS = 30, 41
Y, X = np.mgrid[0:ROWS, 0:COLUMNS]

u8 = ((7 * X + 13 * Y) % 256).astype(np.uint8)
u16 = (20000 + 100 * Y + X).astype(np.uint16)
i16 = (-300 + 10 * Y + X).astype(np.int16)
u32 = (16777216 + 3 * (X + Y)).astype(np.uint32)
real = 20 + X / 8 + Y / 4


def write(name, data, **options):
    options.setdefault("photometric", "minisblack")
    tifffile.imwrite(HERE / name, data, metadata=None, software=None, **options)


write("u8_plain.tiff", u8)
write("u8_packbits.tiff", u8, compression="packbits")
write("u16_plain.tiff", u16)
write("u16_big_endian.tiff", u16, byteorder=">")
write("u16_strips_of_seven_rows.tiff", u16, rowsperstrip=7)
write("u16_lzw_predictor.tiff", u16, compression="lzw", predictor=True)
write("u16_deflate.tiff", u16, compression="zlib")
write("u16_tiles.tiff", u16, tile=(16, 16))
write("u16_tiles_deflate.tiff", u16, tile=(32, 16), compression="zlib", predictor=True)
write("u16_bigtiff.tiff", u16, bigtiff=True)
write("u16_bigtiff_big_endian.tiff", u16, bigtiff=True, byteorder=">")
write("i16_plain.tiff", i16)
write("u32_plain.tiff", u32)
write("f32_plain.tiff", real.astype(np.float32))
write("f32_big_endian.tiff", real.astype(np.float32), byteorder=">")
write("f32_lzw.tiff", real.astype(np.float32), compression="lzw")
write("f32_deflate_predictor.tiff", real.astype(np.float32), compression="zlib", predictor=True)
write("f32_tiles.tiff", real.astype(np.float32), tile=(16, 32), compression="zlib")
write("f16_plain.tiff", real.astype(np.float16))
write("f64_plain.tiff", real)

holes = real.astype(np.float32)
holes[2, 3], holes[4, 5], holes[6, 7] = np.nan, np.inf, -np.inf
write("f32_holes.tiff", holes)

pages = np.stack([u16 + 1000 * page for page in range(4)]).astype(np.uint16)
write("u16_four_pages.tiff", pages)
write("u16_four_pages_bigtiff.tiff", pages, bigtiff=True, compression="zlib")

burst = np.stack([real + page for page in range(3)]).astype(np.float32)
burst[0, 1, 1] = np.nan  # its mean is that of pages 1 and 2
burst[:, 2, 2] = np.nan  # it has no mean
write("f32_burst.tiff", burst)

with tifffile.TiffWriter(HERE / "u16_unequal_pages.tiff") as tiff:
    tiff.write(u16, photometric="minisblack", metadata=None, software=None)
    tiff.write(u16[:20, :20].copy(), photometric="minisblack", metadata=None, software=None)

# Files that are in order but must be refused.
write("refused_color.tiff", np.stack([u8, u8, u8], axis=-1), photometric="rgb")
palette = np.stack([np.arange(256, dtype=np.uint16) * 257] * 3)
write("refused_palette.tiff", u8, photometric="palette", colormap=palette)
write("refused_white_is_zero.tiff", u16, photometric="miniswhite")
write("refused_two_numbers.tiff", np.stack([u16, u16], axis=-1), planarconfig="contig")
write("refused_twelve_bits.tiff", u16 % 4096, bitspersample=12)
write("refused_lossy.tiff", u8, compression="jpeg")
