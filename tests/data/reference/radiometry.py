"""Check values for tests/radiometry.rs, computed with mpmath (30 digits), independently of the project.

Run with `python3 radiometry.py`; needs `pip install mpmath`. Band radiance is found by mpmath's adaptive
quadrature of Planck's law, not by the series that the project uses; temperatures by its root finder.
"""

from mpmath import mp, mpf, exp, expm1, pi, quad, findroot, diff, nstr

mp.dps = 30
h, c, k = mpf("6.62607015e-34"), mpf(299792458), mpf("1.380649e-23")  # exact, SI Brochure, 9th edition
c1 = 2 * h * c**2 * mpf(10) ** 24  # W m^-2 sr^-1 um^4
c2 = h * c / k * mpf(10) ** 6  # um K


def spectral(wavelength, t):
    return c1 / (wavelength**5 * expm1(c2 / (wavelength * t)))


def band(limits, t):
    lower, upper = map(mpf, limits)
    return quad(lambda w: spectral(w, t), [lower, (lower + upper) / 2, upper])


def fraction(product):
    x = c2 / product
    return 15 / pi**4 * quad(lambda t: t**3 / expm1(t), [x, x + 1, x + 4, x + 20, x + 90])


def temperature(limits, radiance, near):
    return findroot(lambda t: band(limits, t) - radiance, near)


def kelvin(celsius):
    return mpf(str(celsius)) + mpf("273.15")


def corrected(limits, emissivity, transmittance, apparent, reflected, path):
    e, tau = mpf(str(emissivity)), mpf(str(transmittance))
    rest = tau * (1 - e) * band(limits, reflected) + (1 - tau) * band(limits, path)
    return temperature(limits, (band(limits, apparent) - rest) / (tau * e), apparent)


CASES = [
    ("M1", (7.5, 14), 1.0, 1.0, 60, 20, 20), ("M2", (7.5, 14), 0.95, 1.0, 60, 20, 20),
    ("M3", (8, 14), 0.92, 1.0, 85, 25, 25), ("M4", (7.5, 14), 0.1, 1.0, 25, 22, 22),
    ("M5", (8, 14), 0.3, 1.0, 35, 23, 23), ("M6", (7.5, 14), 0.9, 0.98, 75, 23, 21),
    ("M7", (8, 14), 0.85, 0.95, 110, 30, 20), ("M8", (8, 14), 0.9, 1.0, 18, 40, 22),
    ("M9", (7.5, 14), 0.6, 1.0, 22, 22, 22), ("M10", (3, 5), 0.8, 0.99, 120, 23, 23),
    ("M11", (8, 14), 0.95, 1.0, 0, 25, 25), ("M12", (7.5, 14), 0.5, 1.0, 20, 60, 20),
]

if __name__ == "__main__":
    print("spectral radiance and its slope")
    for wavelength, t in [(0.5, 5778), (3.4, 300), (10, 300), (10, 373.15), (14, 423.15)]:
        w, t = mpf(str(wavelength)), mpf(str(t))
        print(" ", wavelength, nstr(t, 6), nstr(spectral(w, t), 12), nstr(diff(lambda u: spectral(w, u), t), 12))
    print("band fraction")
    for product in [200, 1000, 2897.771955, 5200, 11500, 15000, 100000]:
        print(" ", product, nstr(fraction(mpf(str(product))), 13))
    print("band radiance and its slope")
    for limits in [(7.5, 14), (8, 14), (3, 5), (7.5, 13)]:
        for t in [280, 293.15, 300, 350, 423.15]:
            t = mpf(str(t))
            print(" ", limits, nstr(t, 6), nstr(band(limits, t), 12), nstr(diff(lambda u: band(limits, u), t), 10))
    print("worked cases: surface temperature in kelvin; slope by emissivity")
    for name, limits, e, tau, *celsius in CASES:
        apparent, reflected, path = map(kelvin, celsius)
        t = corrected(limits, e, tau, apparent, reflected, path)
        step = mpf("1e-8")
        slope = (t - corrected(limits, e - step, tau, apparent, reflected, path)) / step
        print(" ", name, nstr(t, 13), nstr(slope, 6))
    print("an 80 degree surface at 23 degrees reflected: apparent temperature in Celsius")
    for limits in [(8, 14), (7.5, 14)]:
        for e in [0.95, 0.6, 0.05]:
            e = mpf(str(e))
            arriving = e * band(limits, kelvin(80)) + (1 - e) * band(limits, kelvin(23))
            print(" ", limits, nstr(e, 2), nstr(temperature(limits, arriving, 320) - mpf("273.15"), 12))
    print("emissivity from a surface at 60, reading 56, 22 degrees reflected")
    for limits in [(8, 14), (7.5, 14)]:
        s = [band(limits, kelvin(v)) for v in (56, 60, 22)]
        print(" ", limits, nstr((s[0] - s[2]) / (s[1] - s[2]), 12))
