# SPDX-License-Identifier: Apache-2.0
"""Spline filter for open profiles, ISO 16610-22 (form of the equation as published by Zhang, Ott, Song, Chu, J. Res. NIST
120, 2015; the rest from memory):

    (I + beta A^2 P + (1 - beta) A^4 Q) w = z,   A = 1 / (2 sin(pi dx / Lc)),  P = D1'D1,  Q = D2'D2

The assembled band matrix cannot be used as it stands: beside entries of 6 A^4 the 1 of the identity is rounded to
16 A^4 eps. Instead: P has the eigenvectors of the second-kind cosine transform, with eigenvalues 4 sin^2(pi k / (2N)), and
Q = P^2 - e e' - f f' with e = (1, -1, 0 ...), f = (... 0, 1, -1). So one transform pair solves the part that is diagonal
and a 2 x 2 system the ends (Woodbury). O(N log N), errors of the order of A eps.
"""
from functools import lru_cache

import numpy as np
from scipy import fft


def attenuation(cutoff_mm, spacing_mm):
    return 1 / (2 * np.sin(np.pi * spacing_mm / cutoff_mm))


@lru_cache(maxsize=8)
def prepared(count, cutoff_mm, spacing_mm, beta):
    a = attenuation(cutoff_mm, spacing_mm)
    eigenvalues = 4 * np.sin(np.pi * np.arange(count) / (2 * count)) ** 2
    damping = 1 / (1 + beta * a ** 2 * eigenvalues + (1 - beta) * a ** 4 * eigenvalues ** 2)
    ends = np.zeros((2, count))
    ends[0, :2] = 1, -1
    ends[1, -2:] = 1, -1
    spectrum = fft.dct(ends, norm="ortho")
    columns = fft.idct(spectrum * damping, norm="ortho")
    strength = (1 - beta) * a ** 4
    # The difference from 1 is of the order of 1/A: what it loses by rounding bounds the whole filter's accuracy.
    small = np.eye(2) - strength * (spectrum * damping) @ spectrum.T
    return damping, spectrum, columns, strength, np.linalg.inv(small)


def spline(z, cutoff_mm, spacing_mm, beta=0.0):
    """w of the whole trace. beta = 0: the cubic spline, which keeps a straight line up to the ends."""
    damping, spectrum, columns, strength, inverse = prepared(len(z), cutoff_mm, spacing_mm, beta)
    smooth = fft.dct(z, norm="ortho")
    smooth *= damping
    at_ends = spectrum @ smooth
    w = fft.idct(smooth, norm="ortho", overwrite_x=True)
    w += (strength * (inverse @ at_ends)) @ columns
    return w
