"""Writes prediction_intervals.csv and point_source.csv with scipy (written with scipy 1.17):  python make.py

prediction_intervals.csv: half-width of the two-sided Student t prediction interval of one more value, in
units of the standard deviation, t((1 + coverage) / 2, freedom) * sqrt(1 + 1 / count), and the two-sided
tail of t at 4 with the same freedom.
point_source.csv: K0(r / L) of scipy.special.k0.
"""

import csv

import numpy as np
from scipy import special, stats

with open("prediction_intervals.csv", "w", newline="") as file:
    table = csv.writer(file, lineterminator="\n")
    table.writerow(["count", "freedom", "coverage", "half_width", "tail_at_4"])
    for count, freedom in [(2, 1.0), (3, 2.0), (4, 3.0), (5, 4.0), (10, 9.0), (10, 13.6), (20, 19.0), (100, 1e4)]:
        for coverage in [0.9, 0.95, 0.99, 0.9999]:
            half = stats.t.ppf((1 + coverage) / 2, freedom) * np.sqrt(1 + 1 / count)
            table.writerow([count, freedom, coverage, repr(float(half)), repr(float(2 * stats.t.sf(4, freedom)))])

with open("point_source.csv", "w", newline="") as file:
    table = csv.writer(file, lineterminator="\n")
    table.writerow(["r_over_L", "K0"])
    for ratio in [0.25, 0.5, 1.0, 1.5, 2.0, 3.0]:
        table.writerow([ratio, repr(float(special.k0(ratio)))])
