#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""How long the script takes for the complete texture set, and how the program's benchmark compares.

texture_pair.py [BENCHMARK.json]: the file is what a benchmark program writes with --benchmark_format=json or
--benchmark_out; names like texture_complete_gaussian/16384 are looked for in it. One thread each. Never judged: machines
are noisy.
"""
import ctypes
import json
import sys
import time

import numpy as np

from texture_script import Settings, texture

SPACING_MM = 0.0005
COUNTS = (4096, 16384, 65536, 262144)
FILTERS = ("gaussian", "robust2")
LEAST_SECONDS, LEAST_RUNS = 1.5, 5
NS_PER = {"ns": 1.0, "us": 1e3, "ms": 1e6, "s": 1e9}


def keep_memory():
    """Lets freed arrays stay with the process, as the program's workspace does; else every large array is fetched from the
    kernel again. Numbers do not change."""
    try:
        library = ctypes.CDLL("libc.so.6")
        library.mallopt(-3, 1 << 30)  # M_MMAP_THRESHOLD
        library.mallopt(-1, 1 << 30)  # M_TRIM_THRESHOLD
    except (OSError, AttributeError):
        pass


def rough(count, seed=1):
    """Ground: white noise seen by a tip, with grooves."""
    rng = np.random.default_rng(seed)
    z = np.convolve(rng.standard_normal(count + 8), np.ones(9) / 3, "valid") * .5
    for at in rng.integers(0, count, count // 200):
        z[at:at + 12] -= rng.gamma(2, .4)
    return z


def best_seconds(count, kind):
    """Five sections and one cut-off before and after nearly fill the trace, as in the program's benchmark. Everything kept
    per shape is there before."""
    settings = Settings(lambda_c_mm=count * 9 // 64 * SPACING_MM, filter=kind)
    z = rough(count)
    texture(z, SPACING_MM, settings)
    best, runs, until = float("inf"), 0, time.perf_counter() + LEAST_SECONDS
    while runs < LEAST_RUNS or time.perf_counter() < until:
        begin = time.perf_counter()
        texture(z, SPACING_MM, settings)
        best = min(best, time.perf_counter() - begin)
        runs += 1
    return best, runs


def program_figures(path):
    """Name -> ns: the median where repetitions were reported, else the time of the run."""
    with open(path, encoding="utf-8") as file:
        entries = json.load(file)["benchmarks"]
    figures = {}
    for entry in entries:
        name = entry.get("run_name", entry["name"])
        if entry.get("run_type") == "aggregate" and entry.get("aggregate_name") != "median":
            continue
        if name not in figures or entry.get("run_type") == "aggregate":
            figures[name] = entry["real_time"] * NS_PER[entry.get("time_unit", "ns")]
    return figures


def contents():
    """What the complete set is, from the script's own answer."""
    symbols = list(texture(rough(COUNTS[0]), SPACING_MM, Settings(lambda_c_mm=COUNTS[0] * 9 // 64 * SPACING_MM)))
    suffixes = [symbol[1:] for symbol in symbols if symbol[0] == "R" and "(" not in symbol]
    others = [symbol for symbol in symbols if "(" in symbol and symbol[0] == "R"]
    return (f"complete set, {3 * len(suffixes) + len(others)} numbers: R, W and P each with " + " ".join(suffixes)
            + "; " + " ".join(others))


def main():
    keep_memory()
    figures = program_figures(sys.argv[1]) if len(sys.argv) > 1 else {}
    print(contents())
    title = f"{'complete set':32}{'script ms':>11}{'runs':>6}"
    print(title + (f"{'program ms':>12}{'script/program':>16}" if figures else ""))
    for kind in FILTERS:
        for count in COUNTS:
            seconds, runs = best_seconds(count, kind)
            name = f"texture_complete_{kind}/{count}"
            line = f"{name:32}{seconds * 1e3:11.3f}{runs:6d}"
            if name in figures:
                line += f"{figures[name] * 1e-6:12.3f}{seconds * 1e9 / figures[name]:16.2f}"
            print(line, flush=True)


if __name__ == "__main__":
    main()
