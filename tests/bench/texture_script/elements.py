# SPDX-License-Identifier: Apache-2.0
"""Profile elements by crossing-the-line with two thresholds (after ISO 16610-45, the unambiguous form is a project choice).

Runs of z >= 0 and z < 0, crossings by linear interpolation. A run is significant if its largest |z| reaches the
threshold of its kind; a significant run of the other kind than the last one puts a boundary where it begins. The first
boundary is dropped. An element spans two features, hill-dale and dale-hill alike. Walked in both directions; each
parameter is the mean of both.
"""
import numpy as np


def walk(z, hill_um, dale_um):
    """(boundaries in samples, first samples of the features that begin there), the first one dropped."""
    up = z >= 0
    before = np.flatnonzero(up[1:] != up[:-1])
    starts = np.concatenate([[0], before + 1])
    positions = np.concatenate([[0.0], before + z[before] / (z[before] - z[before + 1])])
    reach = np.maximum.reduceat(np.abs(z), starts)
    kinds = up[starts]
    kept = np.flatnonzero(reach >= np.where(kinds, hill_um, dale_um))
    if kept.size:
        changes = np.concatenate([[True], kinds[kept[1:]] != kinds[kept[:-1]]])
        kept = kept[changes]
    return positions[kept][1:], starts[kept][1:]


def measure(z, hill_um, dale_um):
    """(spacings in samples, heights) of the elements, or None where there are fewer than three boundaries."""
    boundaries, starts = walk(z, hill_um, dale_um)
    if len(boundaries) < 3:
        return None
    inside = z[starts[0]:starts[-1]]
    cuts = starts[:-1] - starts[0]
    tops, bottoms = np.maximum.reduceat(inside, cuts), np.minimum.reduceat(inside, cuts)
    return (boundaries[2:] - boundaries[:-2],
            np.maximum(tops[1:], tops[:-1]) - np.minimum(bottoms[1:], bottoms[:-1]))


def elements(z, spacing_mm, hill_um, dale_um):
    values = dict.fromkeys(("sm", "smx", "smq", "c", "cx", "cq", "pc"))
    walks = [measure(z, hill_um, dale_um), measure(z[::-1], hill_um, dale_um)]
    if None in walks:
        return values
    for name, row, scale in (("sm", 0, spacing_mm), ("c", 1, 1.0)):
        for suffix, of in (("", np.mean), ("x", np.max), ("q", np.std)):
            values[name + suffix] = scale * (of(walks[0][row]) + of(walks[1][row])) / 2
    values["pc"] = 10 / values["sm"]
    return values
