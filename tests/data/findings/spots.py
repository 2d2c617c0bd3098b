"""Writes spots.csv: what scipy.ndimage says of the spots of a picture made by a formula.

Run with numpy and scipy (written with numpy 2.x, scipy 1.x):  python spots.py > spots.csv
The picture (180 rows, 240 columns) is the sum of the hills below, each
    height * exp(-((u / a)**2 + (v / b)**2) / 2)
with (u, v) the distance from its centre turned by its angle; `disc` hills are `height` where
(u / a)**2 + (v / b)**2 <= 1 and 0 elsewhere. tests/findings.rs makes the same picture from the same
list. A spot is an 8-connected component of |difference| >= half the tolerance (2 K) that holds at
least nine pixels of at least the tolerance. Area, mean, centre and box are of the 8-connected component,
around the highest 3 x 3 mean, of the pixels of the spot's sign whose 3 x 3 mean is at least half of it.
"""

import numpy as np
from scipy import ndimage

ROWS, COLUMNS, TOLERANCE = 180, 240, 2.0
HILLS = [  # shape, x, y, a, b, angle in degrees, height
    ("hill", 30.3, 25.7, 6.0, 3.0, 20.0, 12.0),
    ("hill", 90.0, 30.0, 4.0, 4.0, 0.0, -9.0),
    ("disc", 150.2, 28.6, 9.3, 9.3, 0.0, 5.0),
    ("disc", 205.0, 40.0, 20.0, 6.0, 35.0, -7.0),
    ("hill", 40.0, 90.0, 9.0, 2.5, -50.0, 6.0),
    ("hill", 110.5, 95.5, 3.0, 7.0, 10.0, 30.0),
    ("disc", 170.0, 100.0, 2.4, 2.4, 0.0, 8.0),
    ("hill", 215.0, 110.0, 5.0, 5.0, 0.0, 1.8),
    ("disc", 20.0, 150.0, 1.2, 1.2, 0.0, 20.0),
    ("hill", 80.0, 150.0, 12.0, 8.0, 70.0, -15.0),
    ("hill", 150.0, 150.0, 7.0, 5.0, 0.0, 4.0),
    ("disc", 239.0, 165.0, 8.0, 8.0, 0.0, 6.0),
]

y, x = np.mgrid[0:ROWS, 0:COLUMNS].astype(float)
picture = np.zeros((ROWS, COLUMNS))
for shape, cx, cy, a, b, angle, height in HILLS:
    cosine, sine = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    u = cosine * (x - cx) + sine * (y - cy)
    v = cosine * (y - cy) - sine * (x - cx)
    squared = (u / a) ** 2 + (v / b) ** 2
    picture += height * (np.exp(-squared / 2) if shape == "hill" else squared <= 1)

print("sign,area_px,mean_k,centroid_x,centroid_y,peak_3x3_k,left,top,right,bottom")
for sign in (1, -1):
    signed = sign * picture
    labels, count = ndimage.label(signed >= TOLERANCE / 2, structure=np.ones((3, 3)))
    # The mean over the part of each 3 x 3 window that lies in the picture.
    window = np.ones((3, 3))
    smooth = ndimage.convolve(signed, window, mode="constant") / ndimage.convolve(
        np.ones_like(signed), window, mode="constant"
    )
    for label in range(1, count + 1):
        member = labels == label
        if np.count_nonzero(signed[member] >= TOLERANCE) < 9:
            continue
        peak = np.where(member, smooth, -np.inf)
        top = np.unravel_index(np.argmax(peak), peak.shape)
        parts, _ = ndimage.label(smooth >= smooth[top] / 2, structure=np.ones((3, 3)))
        extent = (parts == parts[top]) & (signed > 0)
        row, column = ndimage.center_of_mass(signed, extent, 1)
        rows, columns = ndimage.find_objects(extent.astype(int))[0]
        print(
            f"{sign},{extent.sum()},{sign * signed[extent].mean():.6f},{column:.6f},{row:.6f},"
            f"{sign * smooth[member].max():.6f},{columns.start},{rows.start},{columns.stop - 1},{rows.stop - 1}"
        )
