# SPDX-License-Identifier: Apache-2.0
"""From the trace to the profiles P, R, W and their numbers (ISO 21920-2:2021, from memory of the standard).

    S-filter on the trace as it is (always the linear Gaussian), then form, then the mean line w of lambda_c over the
    whole trace; R = P - w; W = w, or w less its own Gaussian mean line of lambda_f.
    Evaluation: n = round(lsc / dx) samples a section, first sample floor((N_total - sections * n) / 2). No profile is
    levelled or centred again.
"""
from dataclasses import dataclass
from typing import Optional

import numpy as np

from . import elements, features, form, heights, low_pass, ratio_curve, regression
from .spline import spline


@dataclass(frozen=True)
class Settings:
    lambda_s_mm: float = 0.0025  # 0: none
    lambda_c_mm: float = 0.8
    lambda_f_mm: Optional[float] = None
    filter: str = "gaussian"  # gaussian, robust, robust2, spline, two-step
    form: str = "line"  # line, arc, poly:N, none
    sections: int = 5
    section_length_mm: Optional[float] = None  # absent: lambda_c
    ends: str = "moment-0"
    hill_percent: float = 10.0  # of the profile's own Rz
    dale_percent: float = 10.0
    pruning_percent: float = 5.0
    spline_beta: float = 0.0
    ratio_depths: tuple = ((5.0, 1.0),)  # (reference %, depth um): Rmr(5%,1.0um)
    ratio_heights_um: tuple = ()  # Rmr(0.5um)
    ratio_percents: tuple = ()  # Rmc(10%)
    height_differences: tuple = ()  # (p %, q %): Rdc(2%,98%)


def layout(count, spacing_mm, settings):
    """(samples a section, first evaluated sample)."""
    length_mm = settings.section_length_mm or settings.lambda_c_mm
    section = int(np.floor(length_mm / spacing_mm + 0.5))
    if section < 1 or section * settings.sections > count:
        raise ValueError(f"{settings.sections} sections of {length_mm} mm do not fit into {count} samples")
    return section, (count - section * settings.sections) // 2


def mean_line(p, spacing_mm, settings):
    lc = settings.lambda_c_mm
    if settings.filter == "gaussian":
        return low_pass.gaussian(p, lc, spacing_mm, settings.ends)
    if settings.filter == "two-step":
        return low_pass.two_step(p, lc, spacing_mm, settings.ends)
    if settings.filter == "spline":
        return spline(p, lc, spacing_mm, settings.spline_beta)
    if settings.filter in ("robust", "robust2"):
        w, how = regression.robust(p, lc, spacing_mm, 2 if settings.filter == "robust2" else 0)
        if not how["valid"]:
            raise ValueError(f"{settings.filter}: a window of the mean line has no weight left")
        return w
    raise ValueError(f"filter {settings.filter!r}: expected gaussian, robust, robust2, spline or two-step")


def profiles(z_um, spacing_mm, settings):
    """({"P", "R", "W"}: the whole trace each, samples a section, first evaluated sample)."""
    z = np.asarray(z_um, float)
    section, first = layout(len(z), spacing_mm, settings)
    if settings.lambda_s_mm > 0:
        z = low_pass.gaussian(z, settings.lambda_s_mm, spacing_mm)  # its own ends reach 2.5 um: order 0, whatever the rule
    p = form.removed(z, settings.form, spacing_mm, first, section * settings.sections)
    w = mean_line(p, spacing_mm, settings)
    r = p - w
    if settings.lambda_f_mm:
        w = w - low_pass.gaussian(w, settings.lambda_f_mm, spacing_mm, settings.ends)
    return {"R": r, "W": w, "P": p}, section, first


def texture(z_um, spacing_mm, settings=Settings()):
    """Symbol -> value, None where the profile gives none. Units: see units()."""
    whole, section, first = profiles(z_um, spacing_mm, settings)
    count = section * settings.sections
    values = {}
    for letter, trace in whole.items():
        z = np.ascontiguousarray(trace[first:first + count])
        of = heights.height(z, settings.sections)
        of.update(heights.spatial(z, spacing_mm))
        of.update(heights.hybrid(trace, first, count, spacing_mm))
        of.update(elements.elements(z, spacing_mm, of["z"] * settings.hill_percent / 100,
                                    of["z"] * settings.dale_percent / 100))
        of.update(features.features(trace, first, count, spacing_mm, of["z"] * settings.pruning_percent / 100,
                                    settings.lambda_s_mm))
        curve = ratio_curve.RatioCurve(z)
        of.update(curve.core())
        of.update(curve.probability())
        of.update(curve.volumes())
        of.update(curve.asked(settings))
        values.update({letter + symbol: None if value is None else float(value) for symbol, value in of.items()})
    return values


_UNITS = {"": "sk ku dq da dt", "mm": "al sw sm smx smq dl", "%": "dr mrk1 mrk2 mq", "1/cm": "pc", "1/mm": "pd vd mpc mvc",
          "um2/mm": "ak1 ak2"}
_UNIT_OF = {symbol: unit for unit, symbols in _UNITS.items() for symbol in symbols.split()}


def units(symbols):
    """Heights in um, lengths along the trace in mm, curvatures in 1/mm, slopes as pure numbers, ratios in %."""
    return {symbol: "%" if symbol[1:].startswith("mr(") else _UNIT_OF.get(symbol[1:], "um") for symbol in symbols}
