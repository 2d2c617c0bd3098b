"""Prints how long numpy takes for a sequence's work, and how long this project's bench takes, from one run.

Needs numpy in an environment outside the repository; one thread each. Usage: speed_beside_numpy.py
The work: 600 frames of 640 x 480 in single precision, 32 different ones over and over.
"""

import os
import re
import subprocess
import time

os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = os.environ["MKL_NUM_THREADS"] = "1"
import numpy  # noqa: E402  (after the number of threads)

FRAMES, DIFFERENT, BATCH, ROUNDS = 600, 32, 16, 5
random = numpy.random.default_rng(7)
column = numpy.maximum(numpy.sin(numpy.arange(640) / 23), 0)
frames = (300 + 20 * column + 0.2 * (random.random((DIFFERENT, 480, 640), numpy.float32) - 0.5)).astype(numpy.float32)
corners = [(30 + 40 * n, 20 + 60 * n) for n in range(10)]
times = numpy.arange(FRAMES, dtype=float)


def areas():
    for number in range(FRAMES):
        frame = frames[number % DIFFERENT]
        for row, left in corners:
            part = frame[row : row + 41, left : left + 41]
            if part.size:
                part.argmin(), part.argmax(), part.mean(dtype=numpy.float64)


def whole():
    for number in range(FRAMES):
        frame = frames[number % DIFFERENT]
        frame.argmin(), frame.argmax(), frame.mean(dtype=numpy.float64)


def basis(harmonics, powers):
    turns = 2 * numpy.pi * 0.1 * times
    swings = [f(n * turns) for n in range(1, harmonics + 1) for f in (numpy.sin, lambda t: -numpy.cos(t))]
    return numpy.stack([(0.1 * times) ** n for n in range(powers)] + swings)


def lock_in(harmonics, powers):
    """The same normal equations, their right-hand sides by BLAS in single precision, sixteen frames at a time."""
    functions = basis(harmonics, powers)
    first = frames[0].ravel()
    sums = numpy.zeros((len(functions), first.size))
    squares = numpy.zeros(first.size)
    for start in range(0, FRAMES, BATCH):
        end = min(start + BATCH, FRAMES)
        at = start % DIFFERENT
        above = frames[at : at + end - start].reshape(end - start, -1) - first
        sums += functions[:, start:end].astype(numpy.float32) @ above
        squares += numpy.einsum("fp,fp->p", above, above)
    solved = numpy.linalg.inv(functions @ functions.T) @ sums
    noise = numpy.sqrt((squares - numpy.einsum("kp,kp->p", solved, sums)) / (FRAMES - len(functions)))
    swings = solved[powers:].reshape(harmonics, 2, -1)
    return numpy.hypot(swings[:, 0], swings[:, 1]), numpy.arctan2(swings[:, 1], swings[:, 0]), numpy.median(noise)


def copy():
    for number in range(FRAMES):
        frames[number % DIFFERENT].copy()


def followed():
    whole()
    lock_in(1, 2)


steps = {
    "follow 10 areas of 41x41": areas,
    "follow the whole": whole,
    "lock-in, linear drift": lambda: lock_in(1, 2),
    "lock-in, quadratic drift, 3 harmonics": lambda: lock_in(3, 3),
    "follow the whole and lock-in, linear drift": followed,
    "copying the frames, for comparison": copy,
}

def best(step):
    spent = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        step()
        spent.append(time.perf_counter() - start)
    return min(spent) * 1e3


numpys = {name: best(step) for name, step in steps.items()}
command = ["cargo", "bench", "-p", "analysis", "--all-features", "--bench", "sequence", "--", "600 frames|table"]
bench = subprocess.run(command, capture_output=True, text=True, check=True).stdout
unit = {"ns": 1e-6, "µs": 1e-3, "ms": 1.0, "s": 1e3}
pattern = r"^\S[^\n]*?/([^\n]+?)\s+time:\s+\[([\d.]+) (\S+) ([\d.]+) (\S+) ([\d.]+) (\S+)\]"
print(f"load {os.getloadavg()[0]:.1f}; numpy {numpy.__version__}: best of {ROUNDS}; here: least, middle, most of the mean")
print(f"{'ms':45} {'numpy':>8} {'least':>8} {'middle':>8} {'most':>8}")
for name, *figures in re.findall(pattern, bench, re.MULTILINE):
    low, middle, high = (float(figures[n]) * unit[figures[n + 1]] for n in (0, 2, 4))
    beside = f"{numpys[name]:8.1f}" if name in numpys else " " * 8
    print(f"{name:45} {beside} {low:8.1f} {middle:8.1f} {high:8.1f}")
