# SPDX-License-Identifier: Apache-2.0
"""Everything of the material ratio curve (ISO 21920-2:2021, clause 4.5, ISO 13565-2 and -3, from memory; the discrete
details are project choices). The profile is sorted once.

Curve: z descending, z_1 >= ... >= z_N, over p_k = (k - 1/2)/N, straight between; heights constant beyond both ends.
"""
from functools import lru_cache

import numpy as np
from scipy.special import ndtr, ndtri

SMOOTH = 100  # samples a turn from which on merging is faster
REACH = 3.0  # of the probability axis, in standard deviations
LEAST_RATIO, LEAST_SHARE = 1.25, 0.05  # of the slopes, of each region, below which there are no two processes


@lru_cache(maxsize=8)
def probability_axis(count):
    """(first sample, samples, running sums of w, w x, w x^2), x ascending as the heights are, each sample weighted with
    its share of the axis (half the way to both neighbours)."""
    x = ndtri((np.arange(count) + 0.5) / count)
    inside = np.flatnonzero(np.abs(x) <= REACH)
    if inside.size < 4:
        return None
    x = x[inside]
    w = np.empty(len(x))
    w[1:-1] = (x[2:] - x[:-2]) / 2
    w[0], w[-1] = (x[1] - x[0]) / 2, (x[-1] - x[-2]) / 2
    return int(inside[0]), x, w, w * x, [np.cumsum(w * x ** j) for j in range(3)]


class RatioCurve:
    def __init__(self, z):
        self.count = len(z)
        turns = np.count_nonzero(np.diff(z[1:] > z[:-1]))
        self.rising = np.sort(z, kind="stable" if turns * SMOOTH < len(z) else None)  # the stable sort merges runs
        self.top, self.bottom = float(self.rising[-1]), float(self.rising[0])

    def ratio(self, height_um):
        """The share at or above the height: of equal heights all count, none above the highest, all below the lowest."""
        n, z = self.count, self.rising
        above = n - int(np.searchsorted(z, height_um, "left"))
        if above == 0:
            return 0.0
        if above == n:
            return 1.0
        upper, lower = z[n - above], z[n - above - 1]
        return (above - 0.5 + (upper - height_um) / (upper - lower)) / n

    def height(self, ratio):
        n, z = self.count, self.rising
        k = min(max(ratio * n - 0.5, 0.0), n - 1.0)
        low = min(int(k), n - 1)
        upper, lower = z[n - 1 - low], z[max(n - 2 - low, 0)]
        return float(upper + (k - low) * (lower - upper))

    def material_above(self, height_um):
        part = self.rising[int(np.searchsorted(self.rising, height_um, "right")):]
        return float(np.sum(part - height_um)) / self.count

    def void_below(self, height_um):
        part = self.rising[:int(np.searchsorted(self.rising, height_um, "left"))]
        return float(np.sum(height_um - part)) / self.count

    def core(self):
        n, z = self.count, self.rising
        m = int(np.floor(0.4 * n + 0.5))
        falls = z[m:] - z[:-m]
        # Of several equal secants the first from p = 0, that is the last of the rising heights.
        first = int(np.flatnonzero(falls <= falls.min() * (1 + 1e-9) + 1e-15)[-1])
        part = z[first:first + m + 1]
        k = np.arange(m + 1) - m / 2
        # From the first one, so that on a plateau the line is exactly the plateau: a line that rounding puts beside it
        # meets the curve at its other end.
        middle = part[0] + (part - part[0]).mean()
        # Of the rising heights over the sample's number: the slope over p is -n times this.
        slope = 12 * np.dot(k, part - middle) / ((m + 1) * ((m + 1.0) ** 2 - 1))
        p_middle = 1 - (first + m / 2 + 0.5) / n
        top, bottom = middle + slope * n * p_middle, middle - slope * n * (1 - p_middle)
        upper = self.ratio(top) if self.top > top else 0.0
        lower = self.ratio(bottom) if self.bottom < bottom else 1.0
        hill, dale = self.material_above(top), self.void_below(bottom)
        return {"k": top - bottom, "pk": 2 * hill / upper if upper > 0 else 0.0,
                "vk": 2 * dale / (1 - lower) if lower < 1 else 0.0, "mrk1": 100 * upper, "mrk2": 100 * lower,
                "ak1": 1e3 * hill, "ak2": 1e3 * dale, "pkx": max(self.top - top, 0.0),
                "vkx": max(bottom - self.bottom, 0.0)}

    def probability(self):
        """Two lines that meet at a sample, least squares weighted evenly along the probability axis, every inner sample
        tried as the meeting point."""
        none = {"pq": None, "vq": None, "mq": None}
        axis = probability_axis(self.count)
        if axis is None:
            return none
        first, x, w, wx, (w0, w1, w2) = axis
        z = self.rising[first:first + len(x)]
        s0, s1 = np.cumsum(w * z), np.cumsum(wx * z)
        b = x[1:-1]
        # Moments about the meeting point: of the left side (its own sample counts nothing), and of the right one.
        l1, l2 = w1[1:-1] - b * w0[1:-1], w2[1:-1] - b * (2 * w1[1:-1] - b * w0[1:-1])
        r0, r1, r2 = w0[-1] - w0[1:-1], w1[-1] - w1[1:-1], w2[-1] - w2[1:-1]
        r1, r2 = r1 - b * r0, r2 - b * (2 * r1 - b * r0)
        zl = s1[1:-1] - b * s0[1:-1]
        zr = s1[-1] - s1[1:-1] - b * (s0[-1] - s0[1:-1])
        left, right = l1 / l2, r1 / r2
        meeting = (s0[-1] - left * zl - right * zr) / (w0[-1] - left * l1 - right * r1)
        below, above = (zl - l1 * meeting) / l2, (zr - r1 * meeting) / r2
        best = int(np.argmax(meeting * s0[-1] + below * zl + above * zr))
        span = x[-1] - x[0]
        plateau, valley, at = float(above[best]), float(below[best]), float(b[best])
        if valley < LEAST_RATIO * plateau or min(at - x[0], x[-1] - at) < LEAST_SHARE * span:
            return none
        return {"pq": plateau, "vq": valley, "mq": 100 * float(ndtr(-at))}

    def volumes(self):
        """um: mm^3/mm^2 of material and void per unit of length, in 1e-3."""
        high, low = self.height(0.1), self.height(0.8)
        peak, deep = self.material_above(high), self.void_below(low)
        return {"vmp": peak, "vmc": self.material_above(low) - peak, "vvc": self.void_below(high) - deep, "vvv": deep}

    def asked(self, settings):
        values = {}
        for percent, depth in settings.ratio_depths:
            values[f"mr({percent:g}%,{tenths(depth)}um)"] = 100 * self.ratio(self.height(percent / 100) - depth)
        for at in settings.ratio_heights_um:
            values[f"mr({tenths(at)}um)"] = 100 * self.ratio(at)
        for percent in settings.ratio_percents:
            values[f"mc({percent:g}%)"] = self.height(percent / 100)
        for p, q in settings.height_differences:
            values[f"dc({p:g}%,{q:g}%)"] = self.height(p / 100) - self.height(q / 100)
        return values


def tenths(value):
    """As short as possible, with at least one decimal."""
    text = f"{value:g}"
    return text if "." in text or "e" in text else text + ".0"
