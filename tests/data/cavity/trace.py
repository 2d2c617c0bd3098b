"""Effective emissivity of an isothermal, diffuse, cylindrical hole by tracing rays (Kirchhoff: what it absorbs).

A beam along the axis fills the aperture, as a camera that looks straight into the hole sees it; a diffuse beam is
what the hole sends to the half-space. Beside them Gouffe's formula for a cylinder, computed here on its own. NumPy;
prints rows for tests/procedures/cavity.rs. One standard error of a traced value is below 0.0005.
"""

import numpy as np

RAYS = 1_000_000


def gouffe(e, depth_over_diameter):
    ratio = 2 * depth_over_diameter
    whole, sphere = 1 / (2 * (1 + ratio)), 1 / (1 + ratio**2)
    return e * (1 + (1 - e) * (whole - sphere)) / (e * (1 - whole) + whole)


def lambertian(random, normal):
    """Directions about the unit normals by the cosine law."""
    count = len(normal)
    z = 2 * random.random(count) - 1
    angle = 2 * np.pi * random.random(count)
    ring = np.sqrt(1 - z * z)
    ball = np.stack([ring * np.cos(angle), ring * np.sin(angle), z], axis=1)
    direction = normal + ball
    return direction / np.linalg.norm(direction, axis=1, keepdims=True)


def traced(e, depth_over_diameter, diffuse, seed):
    random = np.random.default_rng(seed)
    depth = 2 * depth_over_diameter
    radius, angle = np.sqrt(random.random(RAYS)), 2 * np.pi * random.random(RAYS)
    place = np.stack([radius * np.cos(angle), radius * np.sin(angle), np.zeros(RAYS)], axis=1)
    down = np.tile([0.0, 0.0, 1.0], (RAYS, 1))
    direction = lambertian(random, down) if diffuse else down
    left, absorbed = np.ones(RAYS), 0.0
    for _ in range(400):
        # To the wall x^2 + y^2 = 1, the bottom z = depth, or back out through z = 0.
        a = (direction[:, :2] ** 2).sum(1)
        b = (place[:, :2] * direction[:, :2]).sum(1)
        c = np.minimum((place[:, :2] ** 2).sum(1) - 1, 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            wall = np.where(a > 1e-15, (-b + np.sqrt(b * b - a * c)) / a, np.inf)
            end = np.where(direction[:, 2] > 0, (depth - place[:, 2]) / direction[:, 2],
                           np.where(direction[:, 2] < 0, -place[:, 2] / direction[:, 2], np.inf))
        onto_end = end <= wall
        inside = ~(onto_end & (direction[:, 2] < 0))
        place = place + np.minimum(end, wall)[:, None] * direction
        place, direction, left, onto_end = place[inside], direction[inside], left[inside], onto_end[inside]
        absorbed += e * left.sum()
        left = left * (1 - e)
        if len(left) == 0 or left.sum() < 1e-6 * RAYS:
            break
        normal = np.where(onto_end[:, None], [0.0, 0.0, -1.0],
                          np.concatenate([-place[:, :2], np.zeros((len(place), 1))], axis=1))
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        direction = lambertian(random, normal)
    return absorbed / RAYS


for e in (0.5, 0.7, 0.9, 0.95):
    for ratio in (0.5, 1.0, 2.0, 3.0, 5.0, 8.0):
        print(f"({e}, {ratio}, {gouffe(e, ratio):.9f}, {traced(e, ratio, False, 1):.4f}, {traced(e, ratio, True, 2):.4f}),")
