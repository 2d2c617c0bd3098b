"""Writes the pictures that tests/sequences/frame_sources.rs reads: runs of PGM and numbered files.

Needs numpy and Pillow in an environment outside the repository; run it in this folder.
"""

import io
import pathlib

import numpy
import PIL
from PIL import Image

page = numpy.arange(12 * 16, dtype=numpy.uint16).reshape(12, 16)


def picture(number):
    file = io.BytesIO()
    Image.fromarray(page + numpy.uint16(300 * number)).save(file, format="PPM")
    return file.getvalue()


pictures = [picture(number) for number in range(7)]
assert pictures[0].startswith(b"P5"), pictures[0][:20]
pathlib.Path("run.pgm").write_bytes(b"".join(pictures))

# A header that is none, a picture of which 100 bytes never came, and an end that is cut.
damaged = list(pictures)
damaged[1] = b"XX" + damaged[1][2:]
damaged[4] = damaged[4][:-100]
damaged[6] = damaged[6][:-50]
pathlib.Path("damaged_run.pgm").write_bytes(b"".join(damaged))

folder = pathlib.Path("numbered")
folder.mkdir(exist_ok=True)
for number in (8, 9, 10, 12, 13):
    content = picture(number)
    name = f"board 16bit frame {number} of 20.pgm"
    (folder / name).write_bytes(content[:-10] if number == 12 else content)
print(numpy.__version__, PIL.__version__)
