"""Monte Carlo of the measurement equation, independent of the project: writes monte_carlo.csv beside itself.

Needs numpy and scipy. Band radiance is Planck's law summed over the band by Gauss-Legendre quadrature (the
project sums the closed series of the black-body fraction); temperatures come back by a spline through it;
emissivities are drawn with scipy.stats.truncnorm, which keeps them above 0 and at most 1. Constants are the
exact ones of the SI Brochure, 9th edition (2019), as scipy.constants has them.

Columns: the surface's temperatures (the baseline's is empty where a temperature is asked for, not a
difference), the stated inputs with their standard uncertainties (k = 1), and of the drawn results mean,
standard deviation, 2.5 % and 97.5 % points and skewness. In a difference everything is shared but noise and
drift, which each capture has of its own.
"""

import csv
import pathlib

import numpy as np
from scipy import constants, interpolate, stats

TRIALS = 2_000_000
BAND = (7.5e-6, 14e-6)

nodes, weights = np.polynomial.legendre.leggauss(120)
wavelengths = 0.5 * (BAND[1] - BAND[0]) * nodes + 0.5 * sum(BAND)
weights = 0.5 * (BAND[1] - BAND[0]) * weights


def radiance(kelvin):
    kelvin = np.atleast_1d(np.asarray(kelvin, dtype=float))
    total = np.zeros_like(kelvin)
    for wavelength, weight in zip(wavelengths, weights):
        exponent = constants.h * constants.c / (wavelength * constants.k * kelvin)
        total += weight * 2 * constants.h * constants.c**2 / wavelength**5 / np.expm1(exponent)
    return total


grid = np.concatenate([np.linspace(40, 1000, 9601), np.linspace(1001, 5000, 4000)])
grid_radiance = radiance(grid)
to_radiance = interpolate.CubicSpline(grid, grid_radiance)
# Straighter in the logarithm of radiance against 1/T.
back = interpolate.CubicSpline(np.log(grid_radiance), 1 / grid)


def temperature(values):
    result = np.full_like(values, np.nan)
    valid = values > grid_radiance[0]
    result[valid] = 1 / back(np.log(values[valid]))
    return result


FIELDS = "name surface baseline emissivity u_emissivity reflected u_reflected transmittance u_transmittance path u_path calibration drift netd".split()
CASES = [
    ("tape", 333.15, None, 0.95, 0.01, 295.15, 1.0, 1.0, 0.0, 295.15, 0.0, 1.0, 0.1, 0.05),
    ("ceramic behind a window", 353.15, None, 0.85, 0.03, 297.15, 0.5, 0.95, 0.005, 293.15, 1.0, 1.2, 0.1, 0.05),
    ("oxide", 330.0, None, 0.3, 0.02, 296.15, 0.5, 1.0, 0.0, 296.15, 0.0, 0.4, 0.1, 0.05),
    ("dull solder", 350.0, None, 0.3, 0.06, 296.15, 0.5, 1.0, 0.0, 296.15, 0.0, 0.4, 0.1, 0.05),
    ("bright metal, measured", 340.0, None, 0.06, 0.004, 296.15, 0.2, 1.0, 0.0, 296.15, 0.0, 0.1, 0.02, 0.05),
    ("bright metal, from a table", 340.0, None, 0.06, 0.012, 296.15, 0.2, 1.0, 0.0, 296.15, 0.0, 0.1, 0.02, 0.05),
    ("mask, difference", 335.0, 330.0, 0.92, 0.02, 296.15, 1.0, 1.0, 0.0, 296.15, 0.0, 1.0, 0.1, 0.05),
    ("dull solder, difference", 350.0, 325.0, 0.3, 0.06, 296.15, 0.5, 1.0, 0.0, 296.15, 0.0, 0.4, 0.1, 0.05),
]


def solve(case, seed):
    generator = np.random.default_rng(seed)
    c = dict(zip(FIELDS, case))

    def normal(width):
        return width * generator.standard_normal(TRIALS) if width > 0 else np.zeros(TRIALS)

    def cut(middle, width):
        if width == 0:
            return np.full(TRIALS, middle)
        lowest, highest = -middle / width, (1 - middle) / width
        return middle + width * stats.truncnorm.rvs(lowest, highest, size=TRIALS, random_state=generator)

    emissivity = cut(c["emissivity"], c["u_emissivity"])
    transmittance = cut(c["transmittance"], c["u_transmittance"])
    reflected = to_radiance(c["reflected"] + normal(c["u_reflected"]))
    path = to_radiance(c["path"] + normal(c["u_path"]))
    calibration = normal(c["calibration"])

    def one(surface):
        e, t = c["emissivity"], c["transmittance"]
        arriving = t * e * radiance(surface) + t * (1 - e) * radiance(c["reflected"]) + (1 - t) * radiance(c["path"])
        apparent = temperature(arriving)[0]
        arriving = to_radiance(apparent + calibration + normal(c["drift"]) + normal(c["netd"]))
        own = arriving - transmittance * (1 - emissivity) * reflected - (1 - transmittance) * path
        return temperature(own / (transmittance * emissivity))

    result = one(c["surface"])
    if c["baseline"] is not None:
        result = result - one(c["baseline"])
    result = result[np.isfinite(result)]
    low, high = np.quantile(result, [0.025, 0.975])
    return result.mean(), result.std(ddof=1), low, high, stats.skew(result)


with open(pathlib.Path(__file__).with_name("monte_carlo.csv"), "w", newline="") as file:
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(FIELDS + ["mean", "standard_deviation", "low", "high", "skewness"])
    for number, case in enumerate(CASES):
        values = ["" if value is None else value for value in case]
        writer.writerow(values + [f"{value:.4f}" for value in solve(case, 1000 + number)])
