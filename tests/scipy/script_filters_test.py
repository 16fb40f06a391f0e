#!/usr/bin/python3
# SPDX-License-Identifier: Apache-2.0
"""The script's filters against values that do not come from it.

Sources: transmissions 2^-((Lc/l)^2) and (1 + u) exp(-u) (closed forms of the kernels); first moments of the half kernel;
a golden profile whose mean lines were computed from the definitions with untruncated kernels by code of its own.
"""
import math
import unittest

import script_path  # noqa: F401  (makes the package importable)
import numpy as np
from scipy.linalg import solveh_banded

from texture_script import Settings, form, low_pass, profiles, regression, texture
from texture_script.spline import attenuation, spline

WHOLE = float("inf")


def amplitude(w, x, wavelength):
    """Of the sine in the middle part, by least squares."""
    design = np.stack([np.sin(2 * np.pi * x / wavelength), np.cos(2 * np.pi * x / wavelength)], axis=1)
    return float(np.hypot(*np.linalg.lstsq(design, w, rcond=None)[0]))


class GoldenMeanLines(unittest.TestCase):
    N, DX, LC = 5601, 1e-3, .8
    AT = [0, 100, 400, 800, 1400, 2800, 4800, 5600]

    @classmethod
    def setUpClass(cls):
        i = np.arange(cls.N)
        x = i * cls.DX
        cls.z = (.3 * np.sin(2 * np.pi * x / .05) + .2 * np.sin(2 * np.pi * x / .021 + 1) + np.sin(2 * np.pi * x / 4)
                 - 4. * ((i % 400 >= 200) & (i % 400 < 230)))

    def expect(self, w, values, ra, rq):
        np.testing.assert_allclose(w[self.AT], values, atol=6e-7)
        r = (self.z - w)[800:4800]
        self.assertAlmostEqual(np.abs(r).mean(), ra, delta=6e-7)
        self.assertAlmostEqual(np.sqrt((r * r).mean()), rq, delta=6e-7)

    def test_profile(self):
        np.testing.assert_allclose(self.z[self.AT], [0.168294, 0.061253, 0.780454, 1.150980, -3.368713, -0.941621,
                                                     0.752543, 0.410055], atol=6e-7)

    def test_gaussian(self):
        w = low_pass.gaussian(self.z, self.LC, self.DX, half_width=WHOLE)
        self.expect(w, [-0.030399, -0.061422, 0.309711, 0.661237, 0.450692, -1.188863, 0.661237, 0.408982], 0.552579, 1.024649)
        self.assertAlmostEqual((self.z - w)[800:4800].min(), -3.890234, delta=6e-7)

    def test_order_2(self):
        self.expect(regression.regression(self.z, self.LC, self.DX, 2, WHOLE),
                    [0.150195, -0.060801, 0.295357, 0.655042, 0.501848, -1.243582, 0.654923, 0.527101], 0.556264, 1.033263)

    def test_robust_order_0(self):
        w, how = regression.robust(self.z, self.LC, self.DX, 0, WHOLE, tolerance=1e-10)
        self.expect(w, [0.216484, 0.269238, 0.568857, 0.907399, 0.762718, -0.935151, 0.899897, 0.700302], 0.484257, 1.072304)
        self.assertAlmostEqual(how["scale"], 0.944342823, delta=6e-10)
        self.assertTrue(how["valid"])

    def test_robust_order_2(self):
        w, how = regression.robust(self.z, self.LC, self.DX, 2, WHOLE, tolerance=1e-10)
        self.expect(w, [0.058338, 0.176696, 0.582243, 0.938020, 0.792496, -0.968485, 0.929774, 0.521172], 0.483502, 1.072369)
        self.assertAlmostEqual(how["scale"], 0.931896737, delta=6e-10)

    def test_passes(self):
        for order, wanted in ((0, (3, 4, 13)), (2, (4, 8, 13))):
            found = tuple(regression.robust(self.z, self.LC, self.DX, order, WHOLE, tolerance)[1]["passes"]
                          for tolerance in (1e-2, 1e-3, 1e-6))
            self.assertEqual(found, wanted)

    def test_spline(self):
        self.expect(spline(self.z, self.LC, self.DX, 0),
                    [-0.069127, -0.071408, 0.296414, 0.682505, 0.471170, -1.217222, 0.683165, 0.391194], 0.551925, 1.024267)
        self.expect(spline(self.z, self.LC, self.DX, .625242),
                    [0.005602, -0.035034, 0.327245, 0.683949, 0.421888, -1.170503, 0.684092, 0.450822], 0.548834, 1.015886)

    def test_two_step(self):
        w = low_pass.two_step(self.z, self.LC, self.DX, half_width=WHOLE)
        self.expect(w, [0.202615, 0.246843, 0.557520, 0.903747, 0.755428, -0.939049, 0.901395, 0.685489], 0.483238, 1.069929)
        self.assertAlmostEqual((self.z - w)[800:4800].min(), -4.192782, delta=6e-7)


class Transmission(unittest.TestCase):
    TABLE = ((1 / 3, 0.0019531250, 0.0000044350), (.5, 0.0625, 0.0093682361), (.8, 0.3385638867, 0.2630856480), (1, .5, .5),
             (1.5, 0.7348672461, 0.8280816755), (2, 0.8408964153, 0.9331204926), (3, 0.9258747123, 0.9846298149))

    def test_order_0_and_2(self):
        dx, lc = 5e-3, .8
        x = (np.arange(8000) - 4000) * dx
        middle = slice(3000, 5000)
        for ratio, order_0, order_2 in self.TABLE:
            z = np.cos(2 * np.pi * x / (ratio * lc))
            w = low_pass.gaussian(z, lc, dx, half_width=2)
            self.assertAlmostEqual(amplitude(w[middle], x[middle], ratio * lc), order_0, delta=1e-9)
            w = regression.regression(z, lc, dx, 2, 3)
            self.assertAlmostEqual(amplitude(w[middle], x[middle], ratio * lc), order_2, delta=1e-9)

    def test_cut_at_one_cutoff(self):
        # The largest error of a kernel cut at 1.0 Lc and renormalised is 1.753e-7; at 0.5 Lc it is 1.195e-2.
        dx, lc = 1e-3, .8
        x = (np.arange(8000) - 4000) * dx
        middle = slice(2000, 6000)
        for half_width, error in ((1.0, 1.9e-7), (.5, 1.2e-2)):
            z = np.cos(2 * np.pi * x / lc)
            w = low_pass.gaussian(z, lc, dx, half_width=half_width)
            self.assertLess(abs(amplitude(w[middle], x[middle], lc) - .5), error)

    def test_spline(self):
        dx, lc = 1e-3, .8
        x = np.arange(20000) * dx
        a = attenuation(lc, dx)
        for wavelength in (.4, .8, 1.6):
            for beta in (0, .625242):
                s = math.sin(math.pi * dx / wavelength)
                wanted = 1 / (1 + 4 * beta * a ** 2 * s ** 2 + 16 * (1 - beta) * a ** 4 * s ** 4)
                w = spline(np.sin(2 * np.pi * x / wavelength), lc, dx, beta)[6000:14000]
                self.assertAlmostEqual(amplitude(w, x[6000:14000], wavelength), wanted, delta=1e-9)
                if wavelength == lc:
                    self.assertAlmostEqual(wanted, .5, places=12)

    def test_two_tones_through_the_chain(self):
        dx = .5e-3
        x = np.arange(16000 + 3200 + 50) * dx
        z = np.sin(2 * np.pi * x / .1) + 2 * np.sin(2 * np.pi * x / 2.5)
        whole, section, first = profiles(z, dx, Settings(form="none"))
        inside = slice(first, first + 5000)  # 2.5 mm: one long and 25 short waves
        for letter, short, long in (("P", 0.999566877, 1.999998614), ("R", 0.999566877, 0.137035641), ("W", 0, 1.862962972)):
            self.assertAlmostEqual(amplitude(whole[letter][inside], x[inside], .1), short, delta=3e-7)
            self.assertAlmostEqual(amplitude(whole[letter][inside], x[inside], 2.5), long, delta=6e-7)
        r = whole["R"][inside]
        self.assertAlmostEqual(np.sqrt((r * r).mean()), 0.713412, delta=1e-6)
        self.assertAlmostEqual(np.abs(r).mean(), 0.639338, delta=1e-5)
        np.testing.assert_allclose(whole["R"] + whole["W"], whole["P"], atol=1e-12)
        self.assertEqual(section, 1600)


class Ends(unittest.TestCase):
    """At the very first point of data for x >= 0, in units of Lc."""
    TABLE = {"zero": (.5, 0.074758, 0.017558), "mirror": (1, 0.149516, 0.035115), "point-mirror": (1, 0, 0),
             "moment-0": (1, 0.149516, 0.035115), "moment-1": (1, 0, -0.026405)}

    def test_table(self):
        # First-order sampling effects: half the middle sample's weight, about dx.
        dx = 1e-3
        x = np.arange(4000) * dx
        for ends, wanted in self.TABLE.items():
            for power, value in enumerate(wanted):
                with self.subTest(ends=ends, power=power):
                    found = low_pass.gaussian(x ** power, 1.0, dx, ends, half_width=2)[0]
                    self.assertAlmostEqual(found, value, delta=1.2e-3)

    def test_lines_are_kept_by_extrapolation_and_moment_1(self):
        x = np.arange(3000) * 1e-3
        for ends in ("line", "moment-1", "point-mirror"):
            w = low_pass.gaussian(2 * x + 1, .8, 1e-3, ends)
            np.testing.assert_allclose(w, 2 * x + 1, atol=1e-11)

    def test_run_up_of_a_cutoff_makes_all_rules_equal(self):
        z = np.random.default_rng(9).standard_normal(5601).cumsum() * .02
        inside = [profiles(z, 1e-3, Settings(lambda_s_mm=0, form="none", ends=ends))[0]["R"][800:4800]
                  for ends in low_pass.END_RULES]
        for other in inside[1:]:
            np.testing.assert_allclose(other, inside[0], atol=1e-6 * np.ptp(z))


class Definitions(unittest.TestCase):
    """Short and slow: the sums as they are written."""

    def test_transform_gives_the_plain_sums(self):
        rng = np.random.default_rng(11)
        z, d = rng.standard_normal(400), rng.uniform(0, 1, 400)
        t = (np.arange(400)[None, :] - np.arange(400)[:, None]) * 1e-3 / .1
        near = np.abs(t) <= 1 + 1e-9
        s = np.exp(-np.pi * (t / low_pass.ALPHA) ** 2) * near
        np.testing.assert_allclose(low_pass.gaussian(z, .1, 1e-3), s @ z / s.sum(axis=1), atol=1e-13)
        s = np.exp(-np.pi * (t / low_pass.ALPHA) ** 2)
        np.testing.assert_allclose(regression.Regression(400, .1, 1e-3, 0).mean_line(z, d)[0], (s * d) @ z / (s @ d), atol=1e-13)
        s = np.exp(-np.pi * (t / regression.GAMMA) ** 2)
        wanted = [np.linalg.lstsq(np.sqrt(s[k] * d)[:, None] * np.vander(t[k], 3, increasing=True), np.sqrt(s[k] * d) * z,
                                  rcond=None)[0][0] for k in range(400)]
        np.testing.assert_allclose(regression.Regression(400, .1, 1e-3, 2).mean_line(z, d)[0], wanted, atol=1e-11)

    def test_spline_gives_the_band_solution(self):
        n, dx, lc = 500, 1e-3, .02  # A = 3.2: the band matrix is well-conditioned here
        z = np.random.default_rng(12).standard_normal(n)
        a = attenuation(lc, dx)
        d1, d2 = np.diff(np.eye(n), axis=0), np.diff(np.eye(n), 2, axis=0)
        for beta in (0, .3, .625242, 1):
            k = np.eye(n) + beta * a ** 2 * d1.T @ d1 + (1 - beta) * a ** 4 * d2.T @ d2
            band = np.zeros((3, n))
            band[2] = np.diag(k)
            band[1, 1:], band[0, 2:] = np.diag(k, 1), np.diag(k, 2)
            np.testing.assert_allclose(spline(z, lc, dx, beta), solveh_banded(band, z), atol=1e-12)

    def test_spline_keeps_a_line_and_bends_it_with_tension(self):
        x = np.arange(5601) * 1e-3
        np.testing.assert_allclose(spline(2 * x, .8, 1e-3, 0), 2 * x, atol=1e-10)
        self.assertAlmostEqual(np.abs(spline(2 * x, .8, 1e-3, .625242) - 2 * x).max(), 0.174, delta=5e-4)


class RobustLimits(unittest.TestCase):
    def test_fine_grooves(self):
        # Spacing << Lc, far from the ends: w after each pass is the weighted mean of land 0 and groove -5.
        i = np.arange(40000)
        for duty, wanted in ((2, (-1, -0.050196, 0)), (3, (-1.5, -0.999197, -0.084015))):
            z = np.where(i % 10 < duty, -5., 0.)
            for passes, value in enumerate(wanted, 1):
                w, _ = regression.robust(z, 1.0, 1e-4, 0, most_passes=passes)
                self.assertAlmostEqual(w[20000], value, delta=1e-4)

    def test_more_than_half_on_the_line_stops(self):
        w, how = regression.robust(np.where(np.arange(2000) == 1000, -5., 0.), .1, 1e-3, 2)
        self.assertTrue(np.isfinite(w).all() and how["valid"])
        w, how = regression.robust(np.zeros(2000), .1, 1e-3, 0)
        self.assertEqual((how["passes"], how["scale"], np.abs(w).max()), (1, 0.0, 0.0))


class Forms(unittest.TestCase):
    def test_arc(self):
        x = (np.arange(5601) - 2800) * 1e-3
        z = 1e3 * (np.sqrt(25 ** 2 - x * x) - 25)
        self.assertAlmostEqual(np.ptp(z), 157.294833, delta=6e-7)
        self.assertLess(np.abs(form.arc(z, 1e-3, 0, 5601)).max(), 1e-6)
        self.assertLess(np.abs(form.arc(-z, 1e-3, 0, 5601)).max(), 1e-6)
        bump = .01 * np.cos(2 * np.pi * x / .1)
        np.testing.assert_allclose(form.arc(z + bump, 1e-3, 0, 5601), bump, atol=1e-4)
        np.testing.assert_allclose(form.arc(-z + bump, 1e-3, 0, 5601), bump, atol=1e-4)

    def test_arc_left_in_shifts_the_roughness(self):
        x = (np.arange(5601) - 2800) * 1e-3
        z = 1e3 * (np.sqrt(25 ** 2 - x * x) - 25)
        for sign in (1, -1):
            r = sign * z - low_pass.gaussian(sign * z, .8, 1e-3, half_width=1.5)
            self.assertAlmostEqual(r[2800], sign * 0.449475, delta=2e-5)  # the closed form is the parabola's

    def test_polynomial_is_that_of_the_library(self):
        z = np.random.default_rng(13).standard_normal(1000).cumsum()
        t = np.linspace(-1, 1, 1000)
        for order in (1, 2, 3, 6, 10):
            fit = np.polynomial.legendre.Legendre.fit(t, z, order)
            np.testing.assert_allclose(form.polynomial(z, order), z - fit(t), atol=1e-11 * np.ptp(z))

    def test_line_over_a_part_goes_on(self):
        z = np.random.default_rng(14).standard_normal(1000)
        x = np.arange(1000)
        np.testing.assert_allclose(form.line(z, 100, 700), z - np.polyval(np.polyfit(x[100:800], z[100:800], 1), x), atol=1e-12)


class Chain(unittest.TestCase):
    def test_one_spike_raises_its_own_section_only(self):
        x = np.arange(11200) * .5e-3
        flat = np.sin(2 * np.pi * x / .1)
        for sample, section in ((1600 + 2 * 1600 - 1, 1), (1600 + 2 * 1600, 2)):
            z = flat.copy()
            z[sample] += 10
            r = profiles(z, .5e-3, Settings(lambda_s_mm=0, form="none"))[0]["R"][1600:9600].reshape(5, -1)
            self.assertEqual(np.flatnonzero(r.max(axis=1) > 5).tolist(), [section])

    def test_lambda_f_takes_long_waves_from_the_waviness(self):
        dx = 2e-3
        x = np.arange(14000) * dx
        for wavelength in (1.2, 2.5, 5.0):
            whole, _, _ = profiles(np.sin(2 * np.pi * x / wavelength), dx,
                                   Settings(lambda_s_mm=0, lambda_f_mm=2.5, form="none"))
            wanted = 2 ** -(.8 / wavelength) ** 2 * (1 - 2 ** -(2.5 / wavelength) ** 2)
            self.assertAlmostEqual(amplitude(whole["W"][4500:9500], x[4500:9500], wavelength), wanted, delta=4e-7)

    def test_numbers_that_are_asked_for(self):
        z = np.random.default_rng(16).standard_normal(4096)
        values = texture(z, .5e-3, Settings(lambda_c_mm=.25, ratio_depths=((2.5, .5),), ratio_heights_um=(.25, 0),
                                            ratio_percents=(10,), height_differences=((2, 98),)))
        self.assertLessEqual({"Rmr(2.5%,0.5um)", "Rmr(0.25um)", "Rmr(0.0um)", "Rmc(10%)", "Rdc(2%,98%)"}, set(values))
        self.assertGreater(values["Rmr(0.0um)"], values["Rmr(0.25um)"])
        self.assertGreater(values["Rdc(2%,98%)"], values["Rmc(10%)"])

    def test_a_profile_gives_every_symbol_three_times(self):
        values = texture(np.random.default_rng(15).standard_normal(4096), .5e-3, Settings(lambda_c_mm=.25))
        self.assertEqual(len(values), 3 * len({symbol[1:] for symbol in values}))
        self.assertEqual({symbol[0] for symbol in values}, {"P", "R", "W"})


if __name__ == "__main__":
    unittest.main()
