#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Draws the pictures of WAVES.md beside itself: plain SVG, the same bytes at every run.

    pictures.py [FOLDER]
"""
import pathlib
import sys

import numpy as np

INK, PALE, BLUE, RED, GREEN = "#222222", "#b5b5b5", "#1f5fa8", "#b3261e", "#2e7d32"
WIDTH, HEIGHT = 760, 330


class Picture:
    """A sheet with one pair of axes: x in mm or waves, z as the caller likes."""

    def __init__(self, x_range, z_range, box=(50, 30, WIDTH - 20, HEIGHT - 50), height=HEIGHT):
        self.x0, self.x1 = x_range
        self.z0, self.z1 = z_range
        self.left, self.top, self.right, self.bottom = box
        self.height = height
        self.parts = []

    def x(self, value):
        return self.left + (value - self.x0) / (self.x1 - self.x0) * (self.right - self.left)

    def z(self, value):
        return self.bottom - (value - self.z0) / (self.z1 - self.z0) * (self.bottom - self.top)

    def add(self, text):
        self.parts.append(text)

    def line(self, xs, zs, colour=INK, width=1.5, dash=""):
        points = " ".join(f"{self.x(a):.1f},{self.z(b):.1f}" for a, b in zip(xs, zs))
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self.add(f'<polyline points="{points}" fill="none" stroke="{colour}" stroke-width="{width}"{dashes}/>')

    def dot(self, a, b, colour=INK):
        self.add(f'<circle cx="{self.x(a):.1f}" cy="{self.z(b):.1f}" r="4" fill="{colour}"/>')

    def text(self, a, b, words, colour=INK, anchor="middle", shift=(0, 0)):
        x, y = self.x(a) + shift[0], self.z(b) + shift[1]
        self.add(f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}">{words}</text>')

    def measure(self, a0, b0, a1, b1, colour=INK):
        """A line with an arrow at both ends."""
        self.add(f'<line x1="{self.x(a0):.1f}" y1="{self.z(b0):.1f}" x2="{self.x(a1):.1f}" y2="{self.z(b1):.1f}" '
                 f'stroke="{colour}" stroke-width="1.3" marker-start="url(#a)" marker-end="url(#a)"/>')

    def axis(self, ticks, name):
        self.add(f'<line x1="{self.left}" y1="{self.bottom}" x2="{self.right}" y2="{self.bottom}" stroke="{INK}"/>')
        for tick in ticks:
            self.add(f'<line x1="{self.x(tick):.1f}" y1="{self.bottom}" x2="{self.x(tick):.1f}" '
                     f'y2="{self.bottom + 5}" stroke="{INK}"/>')
            self.add(f'<text x="{self.x(tick):.1f}" y="{self.bottom + 20}" text-anchor="middle">{tick:g}</text>')
        self.add(f'<text x="{(self.left + self.right) / 2:.1f}" y="{self.bottom + 40}" '
                 f'text-anchor="middle">{name}</text>')

    def write(self, path):
        head = (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {self.height}" '
                'font-family="sans-serif" font-size="14">\n'
                '<defs><marker id="a" viewBox="0 0 8 8" refX="7" refY="4" markerWidth="7" markerHeight="7" '
                f'orient="auto-start-reverse"><path d="M0 1 L7 4 L0 7 z" fill="{INK}"/></marker></defs>\n'
                f'<rect width="{WIDTH}" height="{self.height}" fill="white"/>\n')
        path.write_text(head + "\n".join(self.parts) + "\n</svg>\n", encoding="ascii")


def roughness(count, seed, reach=4):
    noise = np.random.RandomState(seed).standard_normal(count + 2 * reach)
    weights = np.exp(-2.0 * (np.arange(-reach, reach + 1) / reach) ** 2)
    return np.convolve(noise, weights, "valid") / np.sqrt(np.sum(weights**2))


def waves(folder):
    x = np.linspace(0.0, 10.0, 1001)
    wave = 0.5 * np.sin(2 * np.pi * (x - 0.35) / 2.2) + 0.12 * np.sin(2 * np.pi * x / 1.35 + 1.0)
    p = Picture((0.0, 10.0), (-1.75, 1.75))
    p.line(x, wave + 0.22 * roughness(1001, 3), PALE, 1.0)
    p.line([0, 10], [0, 0], INK, 0.8, "3 4")
    p.line(x, wave, BLUE, 2.4)
    inner = np.arange(1, 1000)
    crests = inner[(wave[inner] > wave[inner - 1]) & (wave[inner] >= wave[inner + 1])]
    valleys = inner[(wave[inner] < wave[inner - 1]) & (wave[inner] <= wave[inner + 1])]
    for k in crests:
        p.dot(x[k], wave[k], RED)
    p.text(x[crests[0]], wave[crests[0]], "crest: place and height", RED, "start", (-30, -50))
    p.line([x[crests[0]]] * 2, [wave[crests[0]] + 0.12, wave[crests[0]] + 0.48], RED, 1.0)
    first, second = valleys[1], valleys[2]
    crest = crests[(crests > first) & (crests < second)][0]
    mean = 0.5 * (wave[first] + wave[second])
    for k in (first, second):
        p.dot(x[k], wave[k], GREEN)
        p.line([x[k], x[k]], [wave[k], -1.3], GREEN, 1.0, "2 3")
    p.measure(x[first], -1.3, x[second], -1.3)
    p.text(0.5 * (x[first] + x[second]), -1.3, "spacing of this wave", INK, "middle", (0, 18))
    p.line([x[first], x[second]], [mean, mean], GREEN, 1.0, "2 3")
    p.measure(x[crest], mean, x[crest], wave[crest])
    p.text(x[crest], wave[crest], "height of this wave", INK, "middle", (0, -26))
    p.text(x[second], wave[second], "valley", GREEN, "start", (12, 16))
    low, high = wave.min(), wave.max()
    p.line([8.4, 9.75], [high, high], INK, 0.8, "2 3")
    p.line([6.6, 9.75], [low, low], INK, 0.8, "2 3")
    p.measure(9.7, low, 9.7, high)
    p.text(9.7, high, "height of the waves of this face", INK, "end", (20, -34))
    p.axis(range(0, 11), "mm from the first sample of the trace")
    p.write(folder / "waves.svg")


def spectrum(folder):
    count = 400
    t = np.arange(count)
    noise = 0.35 * roughness(count, 8, 2)
    face = noise + 0.45 * np.sin(2 * np.pi * 6.0 * t / count + 0.4)
    number = np.arange(1, 38)

    def ordinates(z):
        z = z - np.polyval(np.polyfit(t, z, 2), t)
        return np.abs(np.fft.rfft(z)[number]) ** 2 * 2.0 / count

    bars = ordinates(face)
    rest = ordinates(noise)
    level = max(np.median(group) for group in np.array_split(rest, 3)) / np.log(2.0)
    m, places = 12, 3 * 20
    least = level * m * ((places / 1e-4) ** (1.0 / (m - 1)) - 1.0)
    floor = (np.sqrt(least) + 1.645 * np.sqrt(level / 2)) ** 2
    p = Picture((0.0, 38.5), (0.0, 1.25 * max(bars.max(), floor)))
    p.add(f'<rect x="{p.x(1.5):.1f}" y="{p.top}" width="{p.x(20.5) - p.x(1.5):.1f}" '
          f'height="{p.bottom - p.top}" fill="#eef3fa"/>')
    p.text(11.0, p.z1, "band of the plan", BLUE, "middle", (0, 18))
    for n, bar in zip(number, bars):
        p.line([n, n], [0, bar], RED if n == 6 else INK, 6)
    right = 38.3
    p.line([0, right], [level, level], GREEN, 1.3, "6 4")
    p.text(6.8, level, "noise level: medians of ten, the highest of them", GREEN, "start", (0, -18))
    for value, words, colour in ((least, "least significant ordinate: noise passes it once in 10 000 faces", RED),
                                 (floor, "what a sinusoid as high as the floor explains", BLUE)):
        p.line([0, right], [value, value], colour, 1.3, "6 4")
        p.text(right, value, words, colour, "end", (0, -6))
    p.text(6, bars[5], "principal wave", RED, "start", (8, 8))
    p.axis(range(0, 39, 5), "waves on the face")
    p.add(f'<text x="18" y="{(p.top + p.bottom) / 2:.0f}" text-anchor="middle" '
          f'transform="rotate(-90 18 {(p.top + p.bottom) / 2:.0f})">sum of squares explained</text>')
    p.write(folder / "floor.svg")


def face(folder):
    length, edge = 10.0, 0.9
    x = np.linspace(0.0, length, 1001)
    u = x / length - 0.5
    crown, taper = 3.0, 2.4
    form = -4.0 * crown * u**2 + taper * u + crown
    z = form + 0.16 * roughness(1001, 11) + 0.9 * np.exp(-(((x - 6.6) / 0.35) ** 2))
    z -= np.where(x < edge, 1.5 * (1 - x / edge), 0.0) + np.where(x > length - edge, 2.4 * (1 - (length - x) / edge), 0.0)
    p = Picture((-0.6, 11.6), (-4.2, 5.0), (30, 20, WIDTH - 20, 370), 420)
    for start in (0.0, length - edge):
        p.add(f'<rect x="{p.x(start):.1f}" y="{p.top}" width="{p.x(edge) - p.x(0):.1f}" '
              f'height="{p.bottom - p.top}" fill="#f4efe6"/>')
        p.text(start + edge / 2, p.z1, "edge", INK, "middle", (0, 18))
    p.line(x, z, PALE, 1.2)
    p.line(x, form, BLUE, 2.2)
    p.line([0, length], [form[0], form[-1]], GREEN, 1.4, "6 4")
    p.measure(length / 2, 0.5 * (form[0] + form[-1]), length / 2, form[500])
    p.text(length / 2, 1.2, "crown", INK, "start", (8, 0))
    p.line([0, length + 1.1], [form[0]] * 2, INK, 0.8, "2 3")
    p.line([length, length + 1.1], [form[-1]] * 2, INK, 0.8, "2 3")
    p.measure(length + 0.6, form[0], length + 0.6, form[-1])
    p.text(length + 0.6, 0.5 * (form[0] + form[-1]), "taper", INK, "start", (8, 5))
    for middle, drop, anchor, shift in ((edge / 2, 0.75, "start", 8), (length - edge / 2, 1.2, "end", -8)):
        top = np.interp(middle, x, form)
        p.measure(middle, top, middle, top - drop)
        p.text(middle, top - drop, "drop at the start" if middle < 1 else "drop at the end", INK, anchor, (shift, 16))
    spot = 660
    p.dot(x[spot], z[spot - 12:spot + 12].mean(), RED)
    p.text(x[spot], z[spot - 12:spot + 12].mean(), "highest spot", RED, "middle", (0, -22))
    p.line([2.0, 2.5], [-2.6, -2.6], BLUE, 2.2)
    p.text(2.6, -2.6, "fitted form: line and parabola of the inner face, continued", BLUE, "start",
           (0, 5))
    p.line([2.0, 2.5], [-3.3, -3.3], GREEN, 1.4, "6 4")
    p.text(2.6, -3.3, "chord through its ends", GREEN, "start", (0, 5))
    p.axis(range(0, 11), "mm, along the traverse")
    p.write(folder / "face.svg")


def askew(folder):
    p = Picture((0.0, 38.0), (0.0, 15.0), (0, 0, WIDTH, 300), 300)
    # Seen from above: the zone with its axis, and the trace.
    p.add(f'<rect x="{p.x(1):.1f}" y="{p.z(12):.1f}" width="{p.x(21) - p.x(1):.1f}" '
          f'height="{p.z(3) - p.z(12):.1f}" fill="#eef3fa" stroke="{PALE}"/>')
    p.line([0.3, 22.4], [7.5, 7.5], INK, 1.0, "10 4 2 4")
    p.text(22.6, 7.5, "crest line", INK, "start", (0, 5))
    tilt = np.tan(np.radians(12.0))
    p.line([1, 21], [7.5 - 10 * tilt, 7.5 + 10 * tilt], RED, 2.4)
    p.text(21, 7.5 + 10 * tilt, "trace, length L", RED, "start", (8, 5))
    p.text(15.2, 7.5, "a", INK, "middle", (0, -7))
    p.text(11, 1.4, "seen from above: zone of radius R", INK, "middle")
    # Along the axis.
    angle = np.radians(np.linspace(55, 125, 71))
    middle, radius = 33.0, 7.0
    p.line(middle + radius * np.cos(angle), 3.6 + radius * np.sin(angle), BLUE, 2.2)
    half, top = 2.6, 3.6 + radius
    height = 3.6 + np.sqrt(radius**2 - half**2)
    p.line([middle - half, middle + half], [height, height], RED, 2.0)
    p.measure(middle, height, middle, top)
    p.line([middle - half] * 2, [height, 5.4], INK, 0.8, "2 3")
    p.line([middle + half] * 2, [height, 5.4], INK, 0.8, "2 3")
    p.measure(middle - half, 5.4, middle + half, 5.4)
    p.text(middle, 5.4, "L sin a", INK, "middle", (0, 18))
    p.text(middle, top, "(L sin a)&#178; / (8 R)", INK, "middle", (0, -14))
    p.text(middle, 1.4, "along the axis", INK, "middle")
    p.write(folder / "askew.svg")


def main():
    folder = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else pathlib.Path(__file__).resolve().parent
    for draw in (waves, spectrum, face, askew):
        draw(folder)


if __name__ == "__main__":
    main()
