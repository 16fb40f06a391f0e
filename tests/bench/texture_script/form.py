# SPDX-License-Identifier: Apache-2.0
"""Nominal form: line, polynomial, circle. Each function gives the residual of the whole trace."""
from functools import lru_cache

import numpy as np


def line(z, first, count):
    """Least-squares line over samples first .. first+count-1, continued over the whole trace."""
    x = np.arange(len(z), dtype=float)
    x -= first + (count - 1) / 2
    inside = z[first:first + count]
    mean = inside.mean()
    slope = 12 * np.dot(x[first:first + count], inside - mean) / (count * (count * count - 1.0))
    x *= slope
    x += mean
    return z - x


@lru_cache(maxsize=8)
def orthonormal(count, order):
    """Columns that span the polynomials up to the order on t in [-1, 1]."""
    t = np.linspace(-1, 1, count)
    return np.linalg.qr(np.polynomial.legendre.legvander(t, order))[0]


def polynomial(z, order):
    """Fitted over the whole trace."""
    q = orthonormal(len(z), order)
    residual = z - q @ (q.T @ z)
    return residual - q @ (q.T @ residual)  # once more: what a steep form leaves by rounding


def arc(z_um, spacing_mm, first, count, steps=30):
    """Total least-squares circle over samples first .. first+count-1 by Gauss-Newton from the parabola. What is taken off
    is the arc's height at each x, over the whole trace: a profile is heights over x. (The distances normal to the arc,
    which the fit makes least, are smaller by the cosine of its slope.)"""
    z = z_um * 1e-3
    x = (np.arange(len(z)) - (len(z) - 1) / 2) * spacing_mm
    inside = slice(first, first + count)
    c2, c1, c0 = np.polyfit(x[inside], z[inside], 2)
    side = -np.sign(c2)
    a, b, radius = -c1 / (2 * c2), c0 - c1 * c1 / (4 * c2) + 1 / (2 * c2), 1 / abs(2 * c2)
    for _ in range(steps):
        dx, dz = x[inside] - a, z[inside] - b
        rho = np.hypot(dx, dz)
        design = np.stack([-dx / rho, -dz / rho, np.full(count, -1.0)], axis=1)
        step = np.linalg.lstsq(design, radius - rho, rcond=None)[0]
        a, b, radius = a + step[0], b + step[1], radius + step[2]
        if np.abs(step).max() <= 1e-12 * radius:
            break
    return 1e3 * (z - b - side * np.sqrt(radius * radius - (x - a) ** 2))


def removed(z, kind, spacing_mm, first, count):
    if kind == "none":
        return z
    if kind == "line":
        return line(z, first, count)
    if kind == "arc":
        return arc(z, spacing_mm, first, count)
    if kind.startswith("poly:"):
        return polynomial(z, int(kind[5:]))
    raise ValueError(f"form {kind!r}: expected line, arc, poly:N or none")
