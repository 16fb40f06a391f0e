# SPDX-License-Identifier: Apache-2.0
"""Height, peak, spatial and hybrid parameters of one profile (ISO 21920-2:2021, clauses 4.2-4.4, 5.1, from memory)."""
import numpy as np
from scipy import fft
from scipy.ndimage import correlate1d

DECAY = 0.2  # of the autocorrelation, for Xal
SEVEN_POINTS = np.array([-1, 9, -45, 0, 45, -9, 1.0])


def height(z, sections):
    """Over the evaluation length, except p, v, z (means of the sections) and zx (the largest section)."""
    square = z * z
    mean_square = square.mean()
    q = np.sqrt(mean_square)
    rows = z.reshape(sections, -1)
    tops, bottoms = rows.max(axis=1), rows.min(axis=1)
    top, bottom = tops.max(), bottoms.min()
    values = {"a": np.abs(z).mean(), "q": q, "sk": None, "ku": None, "pt": top, "vt": -bottom, "t": top - bottom,
              "p": tops.mean(), "v": -bottoms.mean(), "z": (tops - bottoms).mean(), "zx": (tops - bottoms).max()}
    if q > 0:
        values["sk"] = np.dot(square, z) / len(z) / (mean_square * q)
        values["ku"] = np.dot(square, square) / len(z) / (mean_square * mean_square)
    return values


def correlation(z, lags):
    """Mean over the overlap of z(x) z(x + t) for the lags 0 .. lags-1."""
    size = fft.next_fast_len(len(z) + lags, real=True)
    spectrum = fft.rfft(z, size)
    power = spectrum.real ** 2 + spectrum.imag ** 2
    return fft.irfft(power, size)[:lags] / (len(z) - np.arange(lags))


def spatial(z, spacing_mm):
    """al: first lag at which the autocorrelation is down to 0.2, linear between lags. sw: wavelength of the largest
    Fourier magnitude of the evaluation length, zero frequency excluded."""
    values = {"al": None, "sw": None}
    magnitudes = fft.rfft(z)[1:]
    magnitudes = magnitudes.real ** 2 + magnitudes.imag ** 2
    if not magnitudes.size or not magnitudes.max() > 0:
        return values
    values["sw"] = len(z) * spacing_mm / (1 + magnitudes.argmax())
    for lags in (len(z) // 8, len(z)):  # most surfaces need the short ones only
        if lags < 2:
            continue
        acf = correlation(z, lags)
        acf /= acf[0]
        below = acf <= DECAY
        j = int(below.argmax())
        if below[j]:
            values["al"] = spacing_mm * (j - 1 + (acf[j - 1] - DECAY) / (acf[j - 1] - acf[j]))
            break
    return values


def hybrid(trace, first, count, spacing_mm):
    """Seven-point gradients (ISO 4287:1997, from memory) at every evaluated sample, with neighbours from the run-up;
    samples too near to the trace's own ends are left out. dl in mm over count-1 chords, dr in % of their length."""
    begin, end = max(first - 3, 0), min(first + count + 3, len(trace))
    dx_um = spacing_mm * 1e3
    values = {"dq": None, "da": None, "dt": None, "dl": None, "dr": None}
    if end - begin >= 7:
        g = correlate1d(trace[begin:end], SEVEN_POINTS / (60 * dx_um))[3:-3]
        size = np.abs(g)
        values.update(dq=np.sqrt(np.dot(g, g) / len(g)), da=size.mean(), dt=size.max())
    if count > 1:
        steps = np.diff(trace[first:first + count])
        steps /= dx_um
        steps *= steps
        # sqrt(1 + s) - 1 without the loss of digits: the excess of each chord over its base
        excess = (steps / (np.sqrt(1 + steps) + 1)).mean()
        values.update(dl=(1 + excess) * (count - 1) * spacing_mm, dr=100 * excess)
    return values
