# SPDX-License-Identifier: Apache-2.0
"""Significant peaks and pits: watershed of a profile with Wolf pruning (after ISO 16610-45; details are project choices).

Extrema are samples (the middle of a flat one) with a fall or rise on both sides; beyond either end the profile is thought
to turn back without end. While the neighbouring peak and pit with the least height difference differ by less than the
threshold, both are removed. A feature must stand out by the threshold on both sides inside the evaluation length.
"""
import heapq

import numpy as np

ROUNDS = 40  # ordinary surfaces need about ten; growing waves would need one a pair, and go to the heap


def extrema(z):
    """(positions, True for a first peak): peaks and pits alternate."""
    steps = np.diff(z)
    moving = np.flatnonzero(steps)
    rising = steps[moving] > 0
    turns = np.flatnonzero(rising[1:] != rising[:-1])
    return (moving[turns] + 1 + moving[turns + 1]) // 2, bool(turns.size and rising[turns[0]])


def pruned_by_heap(heights, threshold):
    """Indexes that stay. One pair at a time, the least difference first, of equal ones the first: O(n log n)."""
    n = len(heights)
    after, before = list(range(1, n + 1)), list(range(-1, n - 1))
    alive = [True] * n
    values = heights.tolist()
    differences = np.abs(np.diff(heights))
    small = np.flatnonzero(differences < threshold)
    heap = list(zip(differences[small].tolist(), small.tolist(), (small + 1).tolist()))
    heapq.heapify(heap)
    while heap:
        _, i, j = heapq.heappop(heap)
        if not (alive[i] and alive[j] and after[i] == j):
            continue
        alive[i] = alive[j] = False
        left, right = before[i], after[j]
        if left >= 0:
            after[left] = right
        if right < n:
            before[right] = left
        if left >= 0 and right < n and abs(values[left] - values[right]) < threshold:
            heapq.heappush(heap, (abs(values[left] - values[right]), left, right))
    return np.flatnonzero(alive)


def pruned(heights, threshold):
    """Indexes that stay, as from the heap, but all pairs at once whose difference is smaller than both neighbouring
    ones: such a pair stays the least around it whatever happens elsewhere, since removing a pair makes the difference
    that takes its place no smaller than any of the three it replaces."""
    stay = np.arange(len(heights))
    for _ in range(ROUNDS):
        if stay.size < 2:
            return stay
        differences = np.abs(np.diff(heights[stay]))
        least = differences < threshold
        least[1:] &= differences[1:] < differences[:-1]
        least[:-1] &= differences[:-1] <= differences[1:]
        pairs = np.flatnonzero(least)
        if not pairs.size:
            return stay
        keep = np.ones(stay.size, bool)
        keep[pairs] = keep[pairs + 1] = False
        stay = stay[keep]
    return stay[pruned_by_heap(heights[stay], threshold)]


def mean_curvature(trace, positions, spacing_mm, reach_mm, sign):
    """Mean second derivative, 1/mm, of the least-squares parabola through +-reach around each position (neighbours of the
    run-up included); positions too near to the trace's own ends are left out."""
    half = int(np.floor(reach_mm / spacing_mm + 1e-6))
    positions = positions[(positions >= half) & (positions < len(trace) - half)]
    if half < 1 or not positions.size:
        return None
    j = np.arange(-half, half + 1)
    shape = j * j - np.mean(j * j)
    second = trace[positions[:, None] + j] @ (2 * shape / np.dot(shape, shape))
    return sign * second.mean() * 1e-3 / spacing_mm ** 2


def highest_five(heights):
    return np.sort(np.partition(heights, heights.size - 5)[-5:]).mean() if heights.size >= 5 else None


def significant(z, threshold):
    """(positions of peaks, positions of pits)."""
    moving = np.flatnonzero(np.diff(z))
    if not moving.size:
        return np.zeros(0, int), np.zeros(0, int)
    inner, _ = extrema(z)
    rises_first, rises_last = z[moving[0] + 1] > z[moving[0]], z[moving[-1] + 1] > z[moving[-1]]
    positions = np.concatenate([[0], inner, [len(z) - 1]])
    heights = np.concatenate([[np.inf if rises_first else -np.inf], z[positions], [-np.inf if rises_last else np.inf]])
    stay = pruned(heights, threshold)
    stay = stay[np.isfinite(heights[stay])] - 1
    is_peak = (stay % 2 == 1) == rises_first
    found = positions[stay]

    def stands_out(index, side):
        height = z[found[index]]
        return (height - side.min() if is_peak[index] else side.max() - height) >= threshold

    keep = np.ones(found.size, bool)
    if found.size:
        keep[0] = stands_out(0, z[:found[0] + 1])
        keep[-1] &= stands_out(-1, z[found[-1]:])
    return found[keep & is_peak], found[keep & ~is_peak]


def features(trace, first, count, spacing_mm, threshold_um, reach_mm):
    """pd, vd: peaks and pits per mm. mpc, mvc: their mean curvature, positive for a peak and for a pit, 1/mm."""
    z = trace[first:first + count]
    peaks, pits = significant(z, threshold_um)
    length_mm = count * spacing_mm
    high, deep = highest_five(z[peaks]), highest_five(-z[pits])
    return {"pd": peaks.size / length_mm, "vd": pits.size / length_mm,
            "mpc": mean_curvature(trace, first + peaks, spacing_mm, reach_mm, -1),
            "mvc": mean_curvature(trace, first + pits, spacing_mm, reach_mm, 1),
            "5p": high, "5v": deep, "10z": None if high is None or deep is None else high + deep}
