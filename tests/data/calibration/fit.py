"""Check values for calibration fits: SciPy's curve_fit and NumPy's least squares on invented set-points.

Run with Python 3.11, SciPy and NumPy in a virtual environment of its own; writes set_points.csv and prints the
numbers that tests/calibration_fit.rs quotes. The counts are those of a flat band from 7.5 to 14 um (Planck's law,
quadrature) times 150 plus 2000, with invented deviations of a few counts.
"""

import numpy as np
from scipy.integrate import quad
from scipy.optimize import curve_fit

H, C, K = 6.62607015e-34, 299792458.0, 1.380649e-23
C2 = H * C / K * 1e6


def radiance(kelvin):
    """In-band radiance, W m^-2 sr^-1."""
    first = 2 * H * C * C * 1e24
    return quad(lambda um: first / um**5 / np.expm1(C2 / (um * kelvin)), 7.5, 14.0, epsrel=1e-12)[0]


def sakuma_hattori(kelvin, a, b, c, offset):
    return c / np.expm1(C2 / (a * kelvin + b)) + offset


celsius = np.array([5.0, 15.0, 25.0, 35.0, 45.0, 60.0, 75.0, 90.0, 105.0, 120.0, 135.0, 150.0])
deviations = np.array([3, -5, 2, 6, -4, -1, 5, -6, 1, 4, -3, 2])
counts = np.array([round(150 * radiance(t + 273.15) + 2000) for t in celsius]) + deviations
with open("set_points.csv", "w") as file:
    file.write("blackbody temperature (degC),counts\n")
    for t, n in zip(celsius, counts):
        file.write(f"{t},{n}\n")
kelvin = celsius + 273.15

DARK = 2000.0
for free in (3, 4):
    if free == 3:
        # The dark level is known: the fit is of the counts above it.
        law, start, target = lambda t, a, b, c: sakuma_hattori(t, a, b, c, 0.0), [9.0, 200.0, 1.3e6], counts - DARK
    else:
        law, start, target = sakuma_hattori, [9.0, 200.0, 1.3e6, DARK], counts
    best, covariance = curve_fit(law, kelvin, target, p0=start, x_scale=np.abs(start), method="trf",
                                 ftol=1e-15, xtol=1e-15, gtol=1e-15, max_nfev=100000)
    residual = target - law(kelvin, *best)
    degrees = len(kelvin) - free
    print(f"{free} parameters:", *(f"{p:.10g}" for p in best))
    print("  u:", *(f"{u:.8g}" for u in np.sqrt(np.diag(covariance))))
    print(f"  s: {np.sqrt(residual @ residual / degrees):.10g} counts")
    for at in (10000.0, 15000.0, 30000.0):
        value = at if free == 4 else at - DARK
        invert = lambda p: (C2 / np.log1p(p[2] / (value - (p[3] if free == 4 else 0.0))) - p[1]) / p[0]
        gradient = np.array([
            (invert(best + step) - invert(best - step)) / (2 * step[i])
            for i, step in enumerate(np.diag(np.abs(best) * 1e-6))
        ])
        print(f"  {at:.0f} counts: {invert(best):.9f} K, u {np.sqrt(gradient @ covariance @ gradient):.8g} K")

degree = 3
design = np.vander(counts, degree + 1, increasing=True).astype(float)
scale = np.abs(design).max(axis=0)
best, _, _, _ = np.linalg.lstsq(design / scale, kelvin, rcond=None)
residual = kelvin - design / scale @ best
variance = residual @ residual / (len(kelvin) - degree - 1)
covariance = variance * np.linalg.inv((design / scale).T @ (design / scale))
print(f"polynomial of degree {degree}:", *(f"{p:.12g}" for p in best / scale))
print(f"  s: {np.sqrt(variance):.10g} K")
for at in (10000.0, 15000.0, 30000.0):
    row = np.array([at**k for k in range(degree + 1)]) / scale
    print(f"  {at:.0f} counts: {row @ best:.9f} K, u {np.sqrt(row @ covariance @ row):.8g} K")
