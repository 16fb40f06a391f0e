#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The script's parameters against values that do not come from it.

Sources: closed forms of waveforms and of the normal distribution (any handbook); integrals of the definitions over exact
height distributions, solved numerically to 1e-9 with adaptive quadrature; vectors computed by hand; two golden profiles,
computed from the definitions by short code of its own (loops and dense matrices instead of transforms).
"""
import math
import unittest

import script_path  # noqa: F401  (makes the package importable)
import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, ndtri

from texture_script import elements, heights, ratio_curve
from texture_script.features import extrema, features, pruned, pruned_by_heap


def golden():
    n, dx = 8000, 0.5e-3
    x = np.arange(n) * dx
    z = (.8 * np.sin(2 * np.pi * x / .1 + .3) + .5 * np.sin(2 * np.pi * x / .0371 + 1.1)
         + .25 * np.sin(2 * np.pi * x / .0132 + 2) + .1 * np.sin(2 * np.pi * x / .2417 + .5)
         - 2 * np.maximum(0, np.sin(2 * np.pi * x / .61 + .9)) ** 20)
    return z - z.mean(), dx


def plateau(h, n=200000):
    """Quantiles of min(g, h), g standard normal, about their mean."""
    z = np.minimum(ndtri((np.arange(n) + 0.5) / n), h)
    return z - z.mean()


class Case(unittest.TestCase):
    def near(self, values, tolerance, **expected):
        for symbol, value in expected.items():
            self.assertIsNotNone(values[symbol.lstrip("_")], symbol)
            self.assertAlmostEqual(values[symbol.lstrip("_")], value, delta=tolerance, msg=symbol)


class HandVectors(Case):
    def test_h1(self):
        of = heights.height(np.array([0, 1, 2, 1, 0, -1, -2, -1] * 2, float), 1)
        self.near(of, 1e-12, a=1, q=math.sqrt(1.5), sk=0, ku=2, t=4)

    def test_h1_crosses_once_a_half_wave_though_it_touches_zero(self):
        of = elements.elements(np.array([0, 1, 2, 1, 0, -1, -2, -1] * 4, float), 1.0, 0.4, 0.4)
        self.near(of, 1e-12, sm=8, smx=8, smq=0, c=4, pc=1.25)

    def test_h2(self):
        of = heights.height(np.array([3, 1, 4, 1, -5, -9, 2, 6, -5, 3, -5, 4], float), 1)
        self.near(of, 1e-9, a=4, q=4.546060566, sk=-0.617337049, ku=2.033818939, t=15)

    def test_h3(self):
        of = ratio_curve.RatioCurve(np.array([10, 6, 5, 4.5, 4.2, 4.0, 3.5, 2, 0, -5])).core()
        self.near(of, 1e-6, k=3.5, mrk1=16.85, mrk2=72.9, ak1=437, ak2=994.5, pk=5.186944, vk=7.339483)
        self.near(of, 1e-9, pkx=10 - 5.815, vkx=2.315 + 5)

    def test_h4(self):
        z = np.array([1, 2, 1, -1, -2, -1, .2, -1, -2, -1, 1, 2, 1, -1, -2, -1, 1, 2, 1, -1])
        np.testing.assert_allclose(elements.walk(z, .5, .5)[0], [2.5, 9.5, 12.5, 15.5, 18.5], atol=1e-12)
        spacings, tall = elements.measure(z, .5, .5)
        np.testing.assert_allclose(spacings, [10, 6, 6], atol=1e-12)
        np.testing.assert_allclose(tall, [4, 4, 4], atol=1e-12)
        np.testing.assert_allclose(elements.walk(z, 0, 0)[0], [2.5, 35 / 6, 37 / 6, 9.5, 12.5, 15.5, 18.5], atol=1e-12)
        self.assertAlmostEqual(elements.measure(z, 0, 0)[0].mean(), 77 / 15, places=12)

    def test_h5_the_two_directions_meet_the_crossing_elsewhere(self):
        z = np.array([-2, 2, -.2, .2, -2, 2, -2.0])
        forward, backward = elements.walk(z, .5, .5)[0], elements.walk(z[::-1], .5, .5)[0]
        self.assertAlmostEqual(forward[1] - 1, 2 + 2 / 22, places=9)  # counted from the 2
        self.assertAlmostEqual(6 - backward[2] - 1, 10 / 11, places=9)

    def test_fewer_than_three_boundaries_give_no_value(self):
        of = elements.elements(np.array([-1, 1, -1.0]), 1.0, .5, .5)
        self.assertEqual(set(of.values()), {None})


class Golden(Case):
    @classmethod
    def setUpClass(cls):
        cls.z, cls.dx = golden()

    def test_heights(self):
        self.near(heights.height(self.z, 5), 1e-10, a=0.6769153533, q=0.8441739892, sk=-0.4963073904, ku=3.2549171707,
                  pt=1.8023576119, vt=2.9972179358, t=4.7995755477, zx=4.6950302052, p=1.7319833128, v=2.4855120639,
                  z=4.2174953767)

    def test_ratios(self):
        curve = ratio_curve.RatioCurve(self.z)
        for c, percent in ((1, 11.532768), (.5, 30.431805), (0, 52.050909), (-1, 88.917758)):
            self.assertAlmostEqual(100 * curve.ratio(c), percent, delta=6e-7)
        for percent, z in ((2, 1.478031), (10, 1.058178), (50, 0.046496), (98, -2.103739)):
            self.assertAlmostEqual(curve.height(percent / 100), z, delta=6e-7)
        self.assertAlmostEqual(curve.height(.02) - curve.height(.98), 3.581771, delta=6e-7)
        self.assertAlmostEqual(curve.height(.25) - curve.height(.75), 1.187043, delta=6e-7)
        self.assertAlmostEqual(100 * curve.ratio(curve.height(.05) - .5), 19.394923, delta=6e-7)
        self.assertAlmostEqual(100 * curve.ratio(curve.height(.02) - 1), 31.342143, delta=6e-7)

    def test_core_and_volumes(self):
        curve = ratio_curve.RatioCurve(self.z)
        self.near(curve.core(), 6e-7, k=2.291084, pk=0.433856, vk=1.154501, mrk1=6.195969, mrk2=91.165485,
                  ak1=13.440785, ak2=50.997271, pkx=0.607411, vkx=1.901081)
        self.near(curve.volumes(), 6e-7, vmp=0.024329, vmc=0.776680, vvc=0.975367, vvv=0.107141)

    def test_hybrid(self):
        of = heights.hybrid(self.z, 0, len(self.z), self.dx)
        self.near(of, 6e-10, dq=0.110514921, da=0.090938292, dt=0.302572166)
        self.near(of, 6e-7, dr=0.604458)
        self.assertAlmostEqual(of["dl"], 1.00604458 * 3.9995, delta=1e-7)

    def test_spatial(self):
        of = heights.spatial(self.z, self.dx)
        self.near(of, 6e-10, al=19.508904e-3)
        self.near(of, 1e-12, sw=0.1)

    def test_elements(self):
        section = heights.height(self.z, 5)
        for hill, dale, boundaries, spacing_um in ((.1 * section["z"], .1 * section["z"], 74, 108.3445),
                                                   (.1 * section["p"], .1 * section["v"], 100, 79.6),
                                                   (0, 0, 164, 48.3175)):
            self.assertEqual(len(elements.walk(self.z, hill, dale)[0]), boundaries)
            self.assertAlmostEqual(elements.elements(self.z, self.dx, hill, dale)["sm"], spacing_um * 1e-3, delta=6e-8)

    def test_reversed_profile_gives_the_same(self):
        for of in (lambda z: elements.elements(z, self.dx, .4, .4),
                   lambda z: features(z, 0, len(z), self.dx, .2, .0025)):
            forward, backward = of(self.z), of(self.z[::-1].copy())
            for symbol, value in forward.items():
                self.assertAlmostEqual(value, backward[symbol], delta=1e-9 * abs(value), msg=symbol)


class Waveforms(Case):
    PERIODS, N = 20, 1000

    @classmethod
    def setUpClass(cls):
        cls.phase = (np.arange(cls.PERIODS * cls.N) % cls.N + 0.5) / cls.N
        cls.sine = np.sin(2 * np.pi * cls.phase)
        cls.triangle = 1 - 4 * np.abs(cls.phase - 0.5)
        cls.dx = 0.1 / cls.N  # period 0.1 mm

    def test_heights(self):
        self.near(heights.height(self.sine, 5), 1e-5, a=2 / math.pi, q=math.sqrt(.5), sk=0, ku=1.5, z=2, t=2, p=1)
        self.near(heights.height(self.triangle, 5), 5e-3, a=.5, q=3 ** -.5, sk=0, ku=1.8, z=2)
        self.near(heights.height(2 * self.phase - 1, 5), 3e-3, a=.5, q=3 ** -.5, sk=0, ku=1.8, z=2)
        self.near(heights.height(np.sign(self.phase - .5), 5), 1e-12, a=1, q=1, sk=0, ku=1, z=2)
        cusps = (2 * self.phase - 1) ** 2 - 1 / 3
        self.near(heights.height(cusps, 5), 5e-5, a=4 / 9 / 3 ** .5, q=2 / 3 / 5 ** .5, sk=2 * 5 ** .5 / 7, ku=15 / 7, v=1 / 3)
        self.near(heights.height(cusps, 5), 2.1e-3, p=2 / 3)
        pulse = np.where(self.phase < .25, .75, -.25)
        self.near(heights.height(pulse, 5), 1e-12, a=.375, q=3 ** .5 / 4, sk=2 / 3 ** .5, ku=7 / 3, p=.75, z=1)

    def test_sine_shapes(self):
        length_um = 100.0
        of = heights.hybrid(self.sine, 0, len(self.sine), self.dx)
        self.near(of, 1e-5, dq=2 ** .5 * math.pi / length_um, da=4 / length_um, dt=2 * math.pi / length_um)
        # An overlap that is no whole number of half waves adds sin t / (L - t) to the cosine, L the length in radians.
        whole = 2 * math.pi * self.PERIODS
        decay = brentq(lambda t: math.cos(t) + math.sin(t) / (whole - t) - .2, 1, 2)
        self.near(heights.spatial(self.sine, self.dx), 1e-6, al=.1 * decay / (2 * math.pi), sw=.1)
        self.assertAlmostEqual(math.acos(.2) / (2 * math.pi), 0.217953, delta=5e-7)
        self.near(elements.elements(self.sine, self.dx, .2, .2), 1e-5, sm=.1, c=2, pc=100)

    def test_developed_length_of_steep_sines(self):
        for s, percent in ((.1, 0.24953319), (.5, 5.98393802), (1, 21.60067234), (2, 67.76099719)):
            x_um = np.arange(4001) * 1e-2  # 40 um, period 10 um
            z = s * 10 / (2 * np.pi) * np.sin(2 * np.pi * x_um / 10)
            self.assertAlmostEqual(heights.hybrid(z, 0, len(z), 1e-5)["dr"], percent, delta=2e-5 * percent)

    def test_gain_of_the_seven_point_rule(self):
        for n, gain in ((4, 0.933709), (10, 0.999593), (20, 0.999993)):
            z = np.sin(2 * np.pi * np.arange(40 * n) / n)
            of = heights.hybrid(z, n, 20 * n, 1e-3)
            self.assertAlmostEqual(of["dq"] / (2 * np.pi / n / 2 ** .5), gain, delta=6e-7)

    def test_sine_ratios(self):
        curve = ratio_curve.RatioCurve(self.sine)
        for c, percent in ((.9, 14.356629), (.5, 100 / 3), (.25, 41.956938), (0, 50), (-.5, 200 / 3)):
            self.assertAlmostEqual(100 * curve.ratio(c), percent, delta=0.11)  # the curve has steps of 0.1 %
        self.assertAlmostEqual(curve.height(.02) - curve.height(.98), 1.996053, delta=1e-4)
        self.assertAlmostEqual(100 * curve.ratio(curve.height(.05) - .5), 33.784025, delta=0.11)
        self.near(curve.volumes(), 1e-4, vmp=0.003258, vmc=0.831054, vvc=0.929020, vvv=0.025294)

    def test_sampled_sine_core(self):
        of = ratio_curve.RatioCurve(np.sin(2 * np.pi * np.arange(100000) / 1000)).core()
        self.near(of, 6e-7, k=1.774753, vk=0.444340, mrk2=73.099855, pk=0, mrk1=0)

    def test_core_of_a_sine_is_on_the_same_side_at_any_phase(self):
        for phase in np.random.default_rng(3).uniform(0, 2 * np.pi, 100):
            of = ratio_curve.RatioCurve(np.sin(2 * np.pi * np.arange(8000) / 100 + phase)).core()
            self.assertLess(of["pk"], 1e-3)
            self.assertTrue(1.7712 <= of["k"] <= 1.7768 and .4316 <= of["vk"] <= .4499)

    def test_core_of_exact_distributions(self):
        p = (np.arange(100000) + .5) / 100000
        for z, expected in ((np.cos(np.pi * p), dict(k=1.774702, pk=0, vk=0.443918, mrk1=0, mrk2=73.068941)),
                            (1 - 2 * p, dict(k=2, pk=0, vk=0, mrk1=0, mrk2=100)),
                            (np.where(p < .5, 1., -1.), dict(k=0, pk=0, vk=4, mrk1=0, mrk2=50)),
                            ((1 - p) ** 2, dict(k=.4, pk=0.576229, vk=0, mrk1=38.898991, mrk2=100)),
                            (1 - p * p, dict(k=.4, pk=0, vk=0.576229, mrk1=0, mrk2=61.101009))):
            self.near(ratio_curve.RatioCurve(z).core(), 2e-3, **expected)


class NormalProcess(Case):
    def test_discrete_core(self):
        z = ndtri((np.arange(8000) + .5) / 8000)
        self.near(ratio_curve.RatioCurve(z).core(), 1e-6, k=2.574001, pk=0.944823, mrk1=9.904652)

    def test_core_ratios_and_volumes(self):
        curve = ratio_curve.RatioCurve(ndtri((np.arange(1000000) + .5) / 1000000))
        self.near(curve.core(), 1e-4, k=2.573956108, pk=0.945030726, vk=0.945030726)
        self.near(curve.core(), 1e-3, mrk1=9.905096876, mrk2=90.094903124, ak1=46.803104, ak2=46.803104)
        self.near(curve.volumes(), 1e-5, vmp=0.047343, vmc=0.905916, vvc=1.217257, vvv=0.111638)
        for p, q, z in ((.02, .98, 4.107498), (.05, .95, 3.289707), (.25, .75, 1.348980)):
            self.assertAlmostEqual(curve.height(p) - curve.height(q), z, delta=1e-6)
        for p, dc, percent in ((.05, .5, 12.613490), (.05, 1, 25.951102), (.02, 1, 14.599894)):
            self.assertAlmostEqual(100 * curve.ratio(curve.height(p) - dc), percent, delta=1e-5)

    def test_plateaus(self):
        table = ((2.00, 0.789423, 0.979896, -0.124866, 2.750039, 2.573956, 0.773590, 0.945031, 9.9051, 90.0949),
                 (1.50, 0.768920, 0.942536, -0.294801, 2.641032, 2.573956, 0.353279, 0.945031, 9.9051, 90.0949),
                 (1.00, 0.717337, 0.866653, -0.582160, 2.760321, 2.110913, 0, 1.078244, 0, 82.4115),
                 (0.75, 0.673572, 0.811044, -0.777804, 3.007477, 1.184180, 0, 1.390647, 0, 62.1493),
                 (0.50, 0.615645, 0.743936, -1.013871, 3.460208, 0.363510, 0, 1.734322, 0, 42.8358),
                 (0.25, 0.544029, 0.667178, -1.297652, 4.211893, 0, 0, 1.791679, 0, 40.1294),
                 (0.00, 0.461607, 0.583819, -1.640561, 5.407639, 0, 0, 1.595769, 0, 50.0000))
        for h, a, q, sk, ku, k, pk, vk, mrk1, mrk2 in table:
            with self.subTest(plateau_at=h):
                z = plateau(h)
                self.near(heights.height(z, 1), 1e-4, a=a, q=q)
                self.near(heights.height(z, 1), 1e-3, sk=sk, ku=ku)
                self.near(ratio_curve.RatioCurve(z).core(), 2e-3, k=k, pk=pk, vk=vk, mrk1=mrk1, mrk2=mrk2)

    def test_two_processes(self):
        s = ndtri((np.arange(8000) + .5) / 8000)
        rng = np.random.default_rng(1)
        of = ratio_curve.RatioCurve(rng.permutation(np.where(s >= -1, .2 * s, .8 + s))).probability()
        # The corner lies between two samples; the meeting point is one of them, 4e-4 standard deviations apart.
        self.near(of, 2e-4, pq=.2, vq=1)
        self.near(of, 1e-2, mq=100 * ndtr(1))

    def test_one_process_is_not_two(self):
        of = ratio_curve.RatioCurve(ndtri((np.arange(8000) + .5) / 8000)).probability()
        self.assertEqual(set(of.values()), {None})

    def test_volume_identity(self):
        z, _ = golden()
        curve = ratio_curve.RatioCurve(z)
        for p in (.1, .3, .8):
            c = curve.height(p)
            self.assertAlmostEqual(curve.void_below(c) - curve.material_above(c), c - z.mean(), places=12)


class Correlation(Case):
    def test_gaussian_autocorrelation(self):
        # Ral = T sqrt(ln 5) for exp(-(t/T)^2); one long trace knows it within a few percent.
        n, dx, t_mm = 1 << 20, .5e-3, .01
        f = np.fft.rfftfreq(n, dx)
        z = np.fft.irfft(np.fft.rfft(np.random.default_rng(5).standard_normal(n)) * np.exp(-(np.pi * t_mm * f) ** 2 / 2), n)
        self.assertAlmostEqual(heights.spatial(z, dx)["al"], 1.268636 * t_mm, delta=2e-4)
        of = heights.hybrid(z, 0, n, dx)
        spacing_um = elements.elements(z, dx, 0, 0)["sm"] * 1e3
        self.assertAlmostEqual(spacing_um, 2 * math.pi * heights.height(z, 1)["q"] / of["dq"], delta=.02 * spacing_um)

    def test_transform_gives_the_plain_sums(self):
        z = np.random.default_rng(6).standard_normal(300)
        plain = [np.mean(z[:len(z) - t] * z[t:]) for t in range(len(z))]
        np.testing.assert_allclose(heights.correlation(z, len(z)), plain, atol=1e-12)


class Pruning(Case):
    @staticmethod
    def plain(z, threshold):
        """The rule word by word, O(n^2)."""
        left = list(range(len(z)))
        while len(left) > 1:
            gaps = [abs(z[a] - z[b]) for a, b in zip(left, left[1:])]
            least = min(range(len(gaps)), key=gaps.__getitem__)
            if gaps[least] >= threshold:
                break
            del left[least:least + 2]
        return left

    def test_rounds_and_heap_follow_the_rule(self):
        rng = np.random.default_rng(7)
        for n in (0, 1, 2, 3, 5, 10, 50, 200):
            for _ in range(40):
                z = rng.uniform(0, 1, n)
                z[1::2] -= rng.choice([0, .3, 1]) + 1  # alternating peaks and pits
                if rng.random() < .3:
                    z = np.round(z, 1)  # equal differences
                for threshold in (0, .5, 1, 1.5, 2.5):
                    wanted = self.plain(z.tolist(), threshold)
                    self.assertEqual(pruned(z, threshold).tolist(), wanted)
                    self.assertEqual(pruned_by_heap(z, threshold).tolist(), wanted)

    def test_growing_waves_go_to_the_heap_and_end_soon(self):
        z = np.arange(20001.0) * np.where(np.arange(20001) % 2, -1, 1)
        self.assertEqual(pruned(z, 1e9).tolist(), self.plain_of_growing(len(z)))

    @staticmethod
    def plain_of_growing(n):
        # Pairs go from the left, two at a time, until one extremum is left.
        return [n - 1] if n % 2 else []

    def test_flat_tops_count_once_in_their_middle(self):
        positions, peak_first = extrema(np.array([0, 1, 1, 1, 0, -1, -1, 0, 2, 0.0]))
        self.assertEqual((positions.tolist(), peak_first), ([2, 5, 8], True))

    def test_sine_features(self):
        n = 100
        z = np.cos(2 * np.pi * np.arange(20 * n) / n)
        of = features(z, n // 4, 10 * n, .1 / n, .1, .0025)
        self.near(of, 1e-12, pd=10, vd=10, _5p=1, _5v=1, _10z=2)
        # z'' = (2 pi / l)^2 A at a crest; the parabola over +-l/40 sees a little less.
        exact = (2 * np.pi / 100) ** 2 * 1e3
        self.near(of, .01 * exact, mpc=exact, mvc=exact)


if __name__ == "__main__":
    unittest.main()
