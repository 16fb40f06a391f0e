# SPDX-License-Identifier: Apache-2.0
"""Gaussian regression filter of order 0 and 2 and its robust loop, ISO 16610-31 (formulas from memory).

At every k: minimise sum_l [z_l - sum_j b_j (x_l - x_k)^j]^2 s(x_l - x_k) d_l; w_k = b0. The sums are convolutions.
    order 0: a = sqrt(ln 2 / pi); order 2: g = sqrt((-1 - W_-1(-1/(2e))) / pi), W_-1 Lambert's function
Robust loop: c = 3/Phi^-1(0.75) median|r| over the whole trace, d = (1 - (r/c)^2)^2 within c, until c moves by no more
than a tolerance times c (project choice: 1e-4, at most 100 passes).
"""
from functools import lru_cache

import numpy as np
from scipy import fft
from scipy.special import lambertw, ndtri

from .low_pass import ALPHA, half_samples, transform_size, weights

GAMMA = float(np.sqrt((-1 - lambertw(-1 / (2 * np.e), -1).real) / np.pi))
SCALE = 3 / float(ndtri(0.75))
EXACT = 1e-13  # of the largest height: a median residual up to here is that of points on the line
SINGULAR = 1e-13  # of what the uncut window with all weights 1 has
UNCUT = 3.73  # kernel constants: the weight there is below 1e-19; cut at one cut-off, order 2 would lose 1e-3 of its line


@lru_cache(maxsize=16)
def moment_spectra(size, cutoff_mm, spacing_mm, half, order):
    """Transforms of s(t) t^j, t in cut-offs, j = 0 .. 2*order: rows, complex (even rows real, odd rows imaginary).
    The sign of t cancels in the solution for b0."""
    kernel = weights(cutoff_mm, spacing_mm, half, GAMMA if order == 2 else ALPHA)
    t = np.arange(-half, half + 1) * (spacing_mm / cutoff_mm)
    wrapped = np.zeros((2 * order + 1, size))
    for j in range(2 * order + 1):
        row = kernel * t ** j
        wrapped[j, :half + 1], wrapped[j, size - half:] = row[half:], row[:half]
    return fft.rfft(wrapped), wrapped.sum(axis=1)


@lru_cache(maxsize=16)
def unit_moments(count, size, cutoff_mm, spacing_mm, half, order):
    """The sums of s(t) t^j alone, all weights 1."""
    spectra, _ = moment_spectra(size, cutoff_mm, spacing_mm, half, order)
    return fft.irfft(spectra * fft.rfft(np.ones(count), size), size)[:, :count]


class Regression:
    """One shape of trace. Sums of the weights d by transform, all rows at once."""

    def __init__(self, count, cutoff_mm, spacing_mm, order, half_width=None):
        self.count, self.order = count, order
        if half_width is None:
            half_width = UNCUT * (GAMMA if order == 2 else ALPHA)
        half = half_samples(cutoff_mm, spacing_mm, half_width, count)
        self.size = transform_size(count, half)
        self.key = (cutoff_mm, spacing_mm, half, order)
        self.spectra, sums = moment_spectra(self.size, *self.key)
        self.least = SINGULAR * (sums[0] if order == 0 else sums[0] * sums[2] * sums[4])

    def convolved(self, spectrum, rows):
        return fft.irfft(self.spectra[:rows] * spectrum, self.size, overwrite_x=True)[:, :self.count]

    def mean_line(self, z, d):
        """(w, singular): singular marks windows whose weights leave nothing to solve. No d: all 1."""
        if d is None:
            moments = unit_moments(self.count, self.size, *self.key)
            heights = self.convolved(fft.rfft(z, self.size), self.order + 1)
        else:
            spectra = fft.rfft(np.stack([d, d * z]), self.size)
            moments = self.convolved(spectra[0], 2 * self.order + 1)
            heights = self.convolved(spectra[1], self.order + 1)
        if self.order == 0:
            above, below = heights[0], moments[0]
        else:
            (m0, m1, m2, m3, m4), (t0, t1, t2) = moments, heights
            k0 = m2 * m4 - m3 * m3
            k1 = m2 * m3 - m1 * m4
            k2 = m1 * m3 - m2 * m2
            above = t0 * k0 + t1 * k1 + t2 * k2
            below = m0 * k0 + m1 * k1 + m2 * k2
        singular = below <= self.least
        with np.errstate(divide="ignore", invalid="ignore"):
            return above / below, singular


def regression(z, cutoff_mm, spacing_mm, order, half_width=None):
    """All weights 1."""
    return Regression(len(z), cutoff_mm, spacing_mm, order, half_width).mean_line(z, None)[0]


def robust(z, cutoff_mm, spacing_mm, order, half_width=None, tolerance=1e-4, most_passes=100):
    """(w, {passes, scale, valid}); valid is False where some window had lost all its weight."""
    shape = Regression(len(z), cutoff_mm, spacing_mm, order, half_width)
    d, scale, w, valid = None, 0.0, None, True
    exact = EXACT * float(np.abs(z).max())
    for passes in range(1, most_passes + 1):
        now, singular = shape.mean_line(z, d)
        if singular.any():
            valid = False
            now = np.where(singular, 0.0 if w is None else w, now)
        w = now
        r = z - w
        np.abs(r, out=r)
        before, scale = scale, SCALE * float(np.median(r))
        if scale <= exact or abs(scale - before) <= tolerance * scale:
            break
        r /= scale
        np.minimum(r, 1.0, out=r)
        d = 1 - r * r
        d *= d
    return w, {"passes": passes, "scale": scale, "valid": valid}
