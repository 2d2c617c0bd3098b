"""Writes the pictures and values that tests/registration.rs checks against.

Run in a scratch environment: pip install numpy scipy scikit-image opencv-python-headless pillow tifffile
Pictures: `coins` and `moon` as bundled with scikit-image (no known copyright restrictions; NASA, public
domain). No value here comes from Boardglow's own code.
"""

import json

import cv2
import numpy as np
from PIL import Image
from scipy import ndimage
from skimage import data

SIDE = 160


def save(name, picture):
    Image.fromarray(np.clip(np.round(picture), 0, 255).astype(np.uint8)).save(f"{name}.png")


def pair(name, picture, top, left, turn, scale, shift, tilt):
    """A crop, and the same place seen through a homography, both resampled from the smoothed whole."""
    whole = ndimage.gaussian_filter(picture.astype(float), 0.8)
    middle = 0.5 * (SIDE - 1)
    c, s = scale * np.cos(np.radians(turn)), scale * np.sin(np.radians(turn))
    to_middle = np.array([[1, 0, -middle], [0, 1, -middle], [0, 0, 1.0]])
    view = np.array([[c, -s, shift[0]], [s, c, shift[1]], [*tilt, 1.0]])
    # From the unit's pixels to the baseline's.
    homography = np.linalg.inv(to_middle) @ view @ to_middle
    homography /= homography[2, 2]
    rows, columns = np.mgrid[0:SIDE, 0:SIDE]
    places = homography @ np.stack([columns.ravel(), rows.ravel(), np.ones(rows.size)])
    x, y = places[0] / places[2] + left, places[1] / places[2] + top
    unit = ndimage.map_coordinates(whole, [y, x], order=5).reshape(SIDE, SIDE)
    baseline = whole[top : top + SIDE, left : left + SIDE]
    save(f"{name}_baseline", baseline)
    save(f"{name}_unit", unit)
    # What OpenCV's enhanced correlation coefficient finds on the same eight-bit pictures.
    read = [cv2.imread(f"{name}_{which}.png", 0) for which in ("unit", "baseline")]
    stop = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 300, 1e-9)
    _, ecc = cv2.findTransformECC(read[0], read[1], np.eye(3, dtype=np.float32), cv2.MOTION_HOMOGRAPHY, stop, None, 3)
    return {"name": name, "homography": homography.ravel().tolist(), "opencv_ecc": (ecc / ecc[2, 2]).ravel().tolist()}


pairs = [
    pair("coins", data.coins(), 70, 110, 1.2, 1.0, (3.4, -2.2), (0, 0)),
    pair("moon", data.moon(), 200, 150, -1.5, 1.02, (-2.3, 1.6), (1e-4, -6e-5)),
]

# Keys' kernel with a = -1/2, as Pillow's BICUBIC resize has it: crops of a float picture moved by a
# fraction of a pixel, or enlarged. Pillow's box is in pixel-edge coordinates.
small = np.asarray(Image.open("coins_baseline.png"), dtype=np.float32)[40:56, 30:50]
picture = Image.fromarray(small, mode="F")
keys = []
for box in [(3.3, 2.7, 15.3, 12.7), (2.0, 3.5, 14.0, 13.5), (3.0, 3.0, 12.6, 11.0)]:
    out = np.asarray(picture.resize((12, 10), Image.BICUBIC, box=box))
    keys.append({"box": box, "rows": [[round(float(v), 4) for v in line] for line in out]})

values = {
    "pairs": pairs,
    "keys_source": small.astype(int).tolist(),
    "keys": keys,
}
with open("values.json", "w") as file:
    json.dump(values, file, indent=None, separators=(",", ":"))
    file.write("\n")
