# SPDX-License-Identifier: Apache-2.0
"""Traces as CSV: header x_mm,z_um, one row a sample, equal spacing."""
import numpy as np


def read_trace(path):
    """(heights in um, spacing in mm); the spacing is the whole length over the number of steps."""
    table = np.loadtxt(path, delimiter=",", skiprows=1)
    x_mm = table[:, 0]
    return np.ascontiguousarray(table[:, 1]), float(x_mm[-1] - x_mm[0]) / (len(x_mm) - 1)


def write_trace(path, heights_um, spacing_mm):
    """Every number with all its digits."""
    rows = (f"{i * spacing_mm!r},{z!r}\n" for i, z in enumerate(np.asarray(heights_um, float).tolist()))
    with open(path, "w", encoding="ascii") as out:
        out.write("x_mm,z_um\n")
        out.writelines(rows)
