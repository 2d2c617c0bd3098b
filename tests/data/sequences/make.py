"""Writes the outside values that tests/sequences.rs holds the analysis against.

Needs numpy, scipy and tifffile in an environment outside the repository; run it in this folder.
"""

import json

import numpy
import scipy.signal
import tifffile
from scipy.optimize import curve_fit

random = numpy.random.default_rng(20310504)

# Lock-in: whole periods, so that the discrete Fourier transform's own line is the answer.
count, periods = 240, 12
index = numpy.arange(count)
turns = periods * index / count
series = {
    "sine": 300 + 0.020 * numpy.sin(2 * numpy.pi * turns - 0.7),
    "square": 300 + 0.5 * ((turns + 1e-9) % 1.0 < 0.5),
    "noise": 300 + 0.05 * random.standard_normal(count),
}
lock_in = []
for name, values in series.items():
    # Frames hold 32-bit floats: both sides get the numbers that such a frame holds.
    values = values.astype(numpy.float32).astype(float)
    lines = numpy.fft.rfft(values) * 2 / count
    harmonics = []
    for multiple in (1, 2, 3):
        line = lines[multiple * periods]
        # A sin(phi - lag) has the line A (-sin lag - i cos lag): in phase -imag, quadrature -real.
        harmonics.append({"in_phase": -line.imag, "quadrature": -line.real, "amplitude": abs(line)})
    lock_in.append({"name": name, "values": values.tolist(), "harmonics": harmonics})


# Warm-up: the fit of two exponentials to one noisy series.
def two(t, steady, slow, slow_tau, fast, fast_tau):
    return steady - slow * numpy.exp(-t / slow_tau) - fast * numpy.exp(-t / fast_tau)


times = numpy.arange(300.0)
truth = (335.0, 28.0, 140.0, 9.0, 15.0)
values = numpy.round(two(times, *truth) + 0.05 * random.standard_normal(times.size), 4)
found, covariance = curve_fit(two, times, values, p0=(330, 20, 100, 10, 10), xtol=1e-14, ftol=1e-14, gtol=1e-14)
warm_up = {
    "values": values.tolist(),
    "found": found.tolist(),
    "uncertainties": numpy.sqrt(numpy.diag(covariance)).tolist(),
}

# A least-squares slope and the strongest line of an uneven series, by the Lomb-Scargle periodogram.
uneven = numpy.sort(numpy.round(random.uniform(0, 200, 300), 3))
swinging = numpy.round(0.3 * numpy.sin(2 * numpy.pi * 0.137 * uneven + 1.0) + 0.1 * random.standard_normal(300), 4)
trial = numpy.arange(0.02, 0.5, 1e-5)
power = scipy.signal.lombscargle(uneven, swinging, 2 * numpy.pi * trial, precenter=True)
spectrum = {
    "times": uneven.tolist(),
    "values": swinging.tolist(),
    "frequency": float(trial[numpy.argmax(power)]),
    "slope": float(numpy.polyfit(uneven[:50], swinging[:50], 1)[0]),
}

with open("values.json", "w") as file:
    json.dump({"lock_in": lock_in, "warm_up": warm_up, "spectrum": spectrum}, file, indent=None)
    file.write("\n")

# 25 pages of 12 x 16 whose pixel (row, column) of page p is 1000 p + 16 row + column, both byte orders.
page = numpy.arange(12 * 16, dtype=numpy.uint16).reshape(12, 16)
stack = numpy.stack([page + 1000 * number for number in range(25)])
for order, name in (("<", "little"), (">", "big")):
    with tifffile.TiffWriter(f"bigtiff_{name}.tiff", bigtiff=True, byteorder=order) as file:
        for pixels in stack:
            file.write(pixels, compression="zlib", photometric="minisblack", contiguous=False)
# All pages' pixels in one block, the way a whole array is written at once.
tifffile.imwrite("block.tiff", stack.astype(numpy.float32) / 8, bigtiff=True, photometric="minisblack", metadata=None)
print(numpy.__version__, scipy.__version__, tifffile.__version__, found, numpy.sqrt(numpy.diag(covariance)))
