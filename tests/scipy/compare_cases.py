# SPDX-License-Identifier: Apache-2.0
"""The traces and settings under which program and script are compared, and how close they must be."""
import dataclasses

import script_path
import numpy as np

from texture_script import Settings
from texture_script.low_pass import END_RULES
from texture_script.trace_file import read_trace

PROFILES = script_path.TESTS / "reference" / "profiles"
FILTERS = ("gaussian", "robust", "robust2", "spline", "two-step")

SUFFIXES = ("a q sk ku pt vt t p v z zx al sw dq da dt dl dr sm smx smq c cx cq pc pd vd mpc mvc 5p 5v 10z "
            "k pk vk mrk1 mrk2 ak1 ak2 pkx vkx pq vq mq vmp vmc vvc vvv").split()
# Every number that `texture` gives without being asked for more.
EXPECTED = [letter + suffix for letter in "RWP" for suffix in SUFFIXES] + ["Rmr(5%,1.0um)"]


def asked_ratios(settings):
    """Symbols of R that are computed only because somebody asks for them."""
    number = lambda value: f"{value:g}" + ("" if value % 1 else ".0")
    return ([f"Rmr({p:g}%,{number(d)}um)" for p, d in settings.ratio_depths[1:]]
            + [f"Rmr({number(c)}um)" for c in settings.ratio_heights_um]
            + [f"Rmc({p:g}%)" for p in settings.ratio_percents]
            + [f"Rdc({p:g}%,{q:g}%)" for p, q in settings.height_differences])


# Relative to max(|value|, scale), the scale of the profile as in scale_of.
TOLERANCE = 1e-9
# Where the numbers themselves are uncertain: how much more a disturbance of 1e-14 of the trace's height range does.
TOLERANCES = {
    # Form takes off 1000 times what is left, and some windows keep only 3e-5 of their weight.
    ("mirror_014_sphere, poly:2", "robust"): 1e-6,
}
# Not comparable at all: the loop wanders without settling, still at pass 100.
UNSETTLED = {("mirror_015_toroid, poly:4", "robust")}


# The slope of a smooth profile is what rounding leaves of the difference of near heights, over the spacing.
SLOPES_OF_W = {"Wdq", "Wda", "Wdt"}
SLOPE_TOLERANCE = 1e-8


def tolerance_of(case, kind, symbol):
    if symbol in SLOPES_OF_W:
        return SLOPE_TOLERANCE
    return TOLERANCES.get((case.name, kind), TOLERANCE)


@dataclasses.dataclass(frozen=True)
class Case:
    name: str
    heights_um: np.ndarray
    spacing_mm: float
    settings: Settings
    path: object = None  # an existing file; absent: to be written
    filters: object = None  # names; absent: all of them


def ground(count, dx, seed):
    """Smoothed noise with narrow grooves, a wave and a tilt."""
    rng = np.random.default_rng(seed)
    smooth = np.exp(-np.linspace(-3, 3, 25) ** 2)
    z = np.convolve(rng.standard_normal(count + 24), smooth / np.sqrt(np.dot(smooth, smooth)), "valid") * 0.3
    x = np.arange(count) * dx
    for at, width, depth in zip(rng.uniform(0, x[-1], 60), rng.uniform(.002, .012, 60), rng.gamma(2, .5, 60)):
        z -= depth * np.maximum(0, 1 - ((x - at) / width) ** 2)
    return z + .2 * np.sin(2 * np.pi * x / 1.3 + .4) + rng.uniform(-3, 3) * x + 12.5


def sines(count, dx):
    x = np.arange(count) * dx
    return .8 * np.sin(2 * np.pi * x / .1 + .3) + .5 * np.sin(2 * np.pi * x / .0371 + 1.1) + .1 * np.sin(2 * np.pi * x / .2417)


def convex(count, dx):
    x = (np.arange(count) - count / 2.1) * dx
    return 1e3 * (np.sqrt(25 ** 2 - x * x) - 25) + ground(count, dx, 8) - 12.5


def plateau(count, dx, seed):
    """Finished: the peaks of a ground surface taken off smoothly, valleys left. Two processes."""
    z = ground(count, dx, seed)
    fine = np.random.default_rng(seed + 1).standard_normal(count) * .02
    x = np.arange(count)
    z = z - np.polyval(np.polyfit(x, z, 3), x)
    return -np.logaddexp(0, -8 * (z + .1)) / 8 + fine


def synthetic():
    dx = .5e-3
    usual = Settings()
    yield Case("ground, run-up of a cut-off", ground(11200, dx, 1), dx, usual)
    yield Case("ground, short run-up", ground(9700, dx, 2), dx, usual)
    yield Case("ground, odd numbers, no lambda_s", ground(10007, .4113e-3, 3), .4113e-3,
               Settings(lambda_s_mm=0, lambda_c_mm=.5, sections=7))
    yield Case("ground, small cut-off", ground(4096, dx, 4), dx, Settings(lambda_c_mm=.25))
    yield Case("ground, cubic form", ground(11200, dx, 5), dx, Settings(form="poly:3"))
    yield Case("ground, form left in", ground(11200, dx, 6), dx, Settings(form="none"))
    yield Case("sines", sines(11200, dx), dx, usual)
    yield Case("plateau", plateau(11200, dx, 7), dx, usual)
    yield Case("convex, arc", convex(11200, dx), dx, Settings(form="arc"))
    for ends in END_RULES:  # half a cut-off of run-up: the rule shows in the evaluation length
        yield Case(f"ground, short run-up, ends {ends}", ground(9700, dx, 2), dx, Settings(ends=ends),
                   filters=("gaussian", "two-step"))
    yield Case("ground, lambda_f", ground(11200, dx, 11), dx, Settings(lambda_f_mm=2.5), filters=("gaussian", "robust2"))
    yield Case("ground, other thresholds and ratios", ground(11200, dx, 12), dx,
               Settings(hill_percent=5.0, dale_percent=20.0, pruning_percent=2.0, ratio_heights_um=(0.5, -0.25),
                        ratio_percents=(10.0,), height_differences=((2.0, 98.0), (25.0, 75.0)),
                        ratio_depths=((5.0, 1.0), (2.0, 0.5))), filters=("gaussian", "robust"))
    yield Case("white noise", np.random.default_rng(10).standard_normal(22401) * .1, .25e-3, usual)


def measured():
    wanted = (("stylus_land1", Settings(lambda_c_mm=.25, form="arc")),
              ("stylus_land1", Settings(lambda_c_mm=.25, form="poly:2", sections=6)),
              ("optical_land3b", Settings(lambda_s_mm=.0035, lambda_c_mm=.129, form="poly:2")),
              ("toolmark_t01la_f80_01", Settings(lambda_s_mm=0, lambda_c_mm=.8, sections=4)),
              ("toolmark_t01sa_f80_01", Settings(lambda_s_mm=0, lambda_c_mm=.8, sections=4, form="poly:2")),
              ("toolmark_t10sb_f80_01", Settings(lambda_s_mm=0, lambda_c_mm=.8, sections=4)),
              ("mirror_010_plane", Settings(lambda_s_mm=0, lambda_c_mm=81.6, sections=4, form="poly:2")),
              ("mirror_014_sphere", Settings(lambda_s_mm=0, lambda_c_mm=40, sections=4, form="poly:2")),
              ("mirror_015_toroid", Settings(lambda_s_mm=0, lambda_c_mm=100, sections=6, form="poly:4")))
    for name, settings in wanted:
        path = PROFILES / f"{name}.csv"
        yield Case(f"{name}, {settings.form}", *read_trace(path), settings, path)


def cases():
    return [*synthetic(), *measured()]


def scale_of(symbol, values, settings):
    """What a difference of the symbol is small against: the profile's own total height for heights, the largest slope for
    slopes, 100 for percentages, 1 for shape factors; lengths and counts stand against themselves."""
    letter, suffix = symbol[0], symbol[1:]
    total = values[letter + "t"]
    if suffix in ("sk", "ku", "dr"):  # dr: 1 %
        return 1.0
    if suffix in ("mrk1", "mrk2", "mq") or suffix.startswith("mr("):
        return 100.0
    if suffix in ("ak1", "ak2"):
        return 1e3 * total
    if suffix in ("dq", "da", "dt"):
        return values[letter + "dt"]
    if suffix == "smq":
        return values[letter + "sm"] or 0.0
    if suffix in ("mpc", "mvc"):
        return 1e-3 * total / settings.lambda_s_mm ** 2 if settings.lambda_s_mm > 0 else 0.0
    if suffix in ("al", "sw", "dl", "sm", "smx", "pc", "pd", "vd"):
        return 0.0
    return total
