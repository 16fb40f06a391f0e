# SPDX-License-Identifier: Apache-2.0
"""Linear Gaussian low-pass, ISO 16610-21, with the end rules of ISO 16610-28, and the two-step filter of ISO 13565-1
(formulas from memory of the standards).

    weights s_j = exp(-pi (j dx / (a Lc))^2), a = sqrt(ln 2 / pi), kept where |j| dx <= half_width * Lc (default 1.0),
    always divided by the sum of the weights used.
"""
from functools import lru_cache

import numpy as np
from scipy import fft
from scipy.ndimage import correlate1d

ALPHA = np.sqrt(np.log(2) / np.pi)
DIRECT_LIMIT = 24  # half-widths up to here are faster as a direct sum than through transforms
END_RULES = ("moment-0", "moment-1", "zero", "line", "mirror", "point-mirror")


def half_samples(cutoff_mm, spacing_mm, half_width, count):
    """Largest j with j*dx <= half_width*Lc; a millionth of a sample more, since dx is known to fewer digits than that
    the quotient of round numbers shows. Never more than the trace can meet."""
    return int(min(np.floor(half_width * cutoff_mm / spacing_mm + 1e-6), count - 1))


@lru_cache(maxsize=32)
def weights(cutoff_mm, spacing_mm, half, constant=ALPHA):
    """s_j for j = -half .. half, not normalised."""
    j = np.arange(-half, half + 1)
    return np.exp(-np.pi * (j * spacing_mm / (constant * cutoff_mm)) ** 2)


@lru_cache(maxsize=32)
def transform_size(count, half):
    return fft.next_fast_len(count + half, real=True)


@lru_cache(maxsize=32)
def symmetric_spectrum(cutoff_mm, spacing_mm, half, size):
    """The kernel's transform: real, since the kernel is even."""
    kernel = weights(cutoff_mm, spacing_mm, half)
    wrapped = np.zeros(size)
    wrapped[:half + 1] = kernel[half:]
    wrapped[size - half:] = kernel[:half]
    return fft.rfft(wrapped).real.copy()


def weighted_sums(z, cutoff_mm, spacing_mm, half):
    """sum_j s_j z(k-j) with nothing beyond the ends."""
    if half <= DIRECT_LIMIT:
        return correlate1d(z, weights(cutoff_mm, spacing_mm, half), mode="constant")
    size = transform_size(len(z), half)
    spectrum = fft.rfft(z, size)
    spectrum *= symmetric_spectrum(cutoff_mm, spacing_mm, half, size)
    return fft.irfft(spectrum, size, overwrite_x=True)[:len(z)]


def window_sums(cumulative, count, half):
    """sum over |j| <= half, 0 <= k+j < count of a kernel, from its running sum (0 first)."""
    k = np.arange(count)
    return cumulative[np.minimum(half, count - 1 - k) + half + 1] - cumulative[half - np.minimum(half, k)]


@lru_cache(maxsize=32)
def cut_moments(count, cutoff_mm, spacing_mm, half):
    """Moments 0, 1, 2 (in cut-offs) of the kernel cut at the ends, for every position."""
    kernel = weights(cutoff_mm, spacing_mm, half)
    t = np.arange(-half, half + 1) * (spacing_mm / cutoff_mm)
    return [window_sums(np.concatenate([[0.0], np.cumsum(kernel * t ** j)]), count, half) for j in range(3)]


@lru_cache(maxsize=32)
def reciprocal_of_cut_sum(count, cutoff_mm, spacing_mm, half):
    return 1 / cut_moments(count, cutoff_mm, spacing_mm, half)[0]


def moment_order_1(z, cutoff_mm, spacing_mm, half):
    """Kernel s(t)(b0 + b1 t) with sum 1 and first moment 0 at every position: the regression of order 1."""
    m0, m1, m2 = cut_moments(len(z), cutoff_mm, spacing_mm, half)
    kernel = weights(cutoff_mm, spacing_mm, half)
    t = np.arange(-half, half + 1) * (spacing_mm / cutoff_mm)
    size = transform_size(len(z), half)
    wrapped = np.zeros(size)
    odd = -kernel * t  # convolved at k - l, while t belongs to l - k
    wrapped[:half + 1], wrapped[size - half:] = odd[half:], odd[:half]
    t0 = weighted_sums(z, cutoff_mm, spacing_mm, half)
    t1 = fft.irfft(fft.rfft(z, size) * fft.rfft(wrapped), size)[:len(z)]
    return (m2 * t0 - m1 * t1) / (m0 * m2 - m1 * m1)


def padded(z, half, ends):
    if ends == "zero":
        return np.pad(z, half)
    if ends == "mirror":
        return np.pad(z, half, mode="reflect")
    if ends == "point-mirror":
        return np.pad(z, half, mode="reflect", reflect_type="odd")
    if ends == "line":
        i = np.arange(half + 1)
        first, last = np.polyfit(i, z[:half + 1], 1), np.polyfit(i, z[-half - 1:], 1)
        return np.concatenate([np.polyval(first, np.arange(-half, 0)), z,
                               np.polyval(last, half + np.arange(1, half + 1))])
    raise ValueError(f"end rule {ends!r}: expected one of {', '.join(END_RULES)}")


def gaussian(z, cutoff_mm, spacing_mm, ends="moment-0", half_width=1.0):
    """The mean line w of the whole trace."""
    half = half_samples(cutoff_mm, spacing_mm, half_width, len(z))
    if ends == "moment-0":
        sums = weighted_sums(z, cutoff_mm, spacing_mm, half)
        sums *= reciprocal_of_cut_sum(len(z), cutoff_mm, spacing_mm, half)
        return sums
    if ends == "moment-1":
        return moment_order_1(z, cutoff_mm, spacing_mm, half)
    whole = weighted_sums(padded(z, half, ends), cutoff_mm, spacing_mm, half)
    return whole[half:half + len(z)] / weights(cutoff_mm, spacing_mm, half).sum()


def two_step(z, cutoff_mm, spacing_mm, ends="moment-0", half_width=1.0):
    """w of the profile whose valleys below the first mean line are filled; the roughness is z - w, z unclipped."""
    first = gaussian(z, cutoff_mm, spacing_mm, ends, half_width)
    return gaussian(np.maximum(z, first), cutoff_mm, spacing_mm, ends, half_width)
