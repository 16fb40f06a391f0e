// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/form_removal.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

std::vector<double> without_form(const std::vector<double>& heights_um, const FormRemoval& form,
                                 const FormGrid& grid) {
  const auto fit = FormFit::prepare(form, grid);
  EXPECT_TRUE(fit.has_value());
  std::vector<double> residual(heights_um.size());
  EXPECT_TRUE(fit->remove(heights_um, residual).has_value());
  return residual;
}

FormGrid whole(std::size_t count, double spacing_mm) {
  return {.sample_count = count, .spacing_mm = spacing_mm, .fit_first = 0, .fit_count = count};
}

// A circle of radius r (mm) with its apex at x0, convex (+1) or concave (-1); heights in um.
std::vector<double> arc(std::size_t count, double spacing_mm, double radius_mm, double x0_mm, double sign) {
  return profiles::sampled(count, spacing_mm, [=](double x) {
    return sign * 1000.0 * (std::sqrt(radius_mm * radius_mm - (x - x0_mm) * (x - x0_mm)) - radius_mm);
  });
}

double largest(const std::vector<double>& values) {
  double most = 0.0;
  for (const double value : values) most = std::max(most, std::abs(value));
  return most;
}

TEST(FormRemoval, TakesALineAwayToTheLastBit) {
  const auto z = profiles::sampled(5000, 0.001, [](double x) { return 40.0 * x - 17.0; });
  EXPECT_LT(largest(without_form(z, {.kind = FormKind::kLine}, whole(5000, 0.001))), 1e-11);
}

// Closed form of simple regression: slope = sum (x - xm)(z - zm) / sum (x - xm)^2.
TEST(FormRemoval, LineIsTheRegressionLine) {
  const std::vector<double> z{1.0, 3.0, 2.0, 5.0, 4.0};  // slope 0.8 per sample, mean 3
  const auto r = without_form(z, {.kind = FormKind::kLine}, whole(5, 0.001));
  const double expected[] = {-0.4, 0.8, -1.0, 1.2, -0.6};
  for (std::size_t i = 0; i < 5; ++i) EXPECT_NEAR(r[i], expected[i], 1e-14);
}

TEST(FormRemoval, LineIsFittedToTheEvaluationLengthAndContinued) {
  auto z = profiles::sampled(1000, 0.001, [](double x) { return 5.0 * x; });
  for (std::size_t i = 0; i < 100; ++i) z[i] += 50.0;  // a step in the run-up
  const FormGrid grid{.sample_count = 1000, .spacing_mm = 0.001, .fit_first = 200, .fit_count = 600};
  const auto r = without_form(z, {.kind = FormKind::kLine}, grid);
  EXPECT_NEAR(r[500], 0.0, 1e-12);
  EXPECT_NEAR(r[999], 0.0, 1e-12);
  EXPECT_NEAR(r[50], 50.0, 1e-12);
}

TEST(FormRemoval, PolynomialResidualIsOrthogonalToEveryPower) {
  const auto z = profiles::rough(2001, 1.0, 4, 21);
  for (int degree = 1; degree <= kHighestFormDegree; ++degree) {
    const auto r = without_form(z, {.kind = FormKind::kPolynomial, .degree = degree}, whole(2001, 0.001));
    for (int power = 0; power <= degree; ++power) {
      double sum = 0.0;
      for (std::size_t i = 0; i < r.size(); ++i) {
        sum += r[i] * std::pow(static_cast<double>(i) / 1000.0 - 1.0, power);
      }
      EXPECT_NEAR(sum, 0.0, 1e-9) << degree << " " << power;
    }
  }
}

TEST(FormRemoval, PolynomialOfDegreeTenTakesOneOfDegreeTen) {
  const auto z = profiles::sampled(4001, 0.001, [](double x) {
    const double t = x / 2.0 - 1.0;
    return 100.0 * (std::pow(t, 10) - 3.0 * std::pow(t, 7) + 2.0 * t * t - 1.0);
  });
  EXPECT_LT(largest(without_form(z, {.kind = FormKind::kPolynomial, .degree = 10}, whole(4001, 0.001))),
            1e-9);
  EXPECT_GT(largest(without_form(z, {.kind = FormKind::kPolynomial, .degree = 9}, whole(4001, 0.001))), 0.1);
}

// Geometry: sag of R = 25 mm over a chord of 5.6 mm.
TEST(FormRemoval, ArcOf25MmOver5Point6MmHasItsSagAndVanishes) {
  const auto z = arc(5601, 0.001, 25.0, 2.8, 1.0);
  EXPECT_NEAR(z[2800] - z[0], 157.294833, 1e-6);
  EXPECT_LT(largest(without_form(z, {.kind = FormKind::kArc}, whole(5601, 0.001))), 1e-6);
  EXPECT_LT(largest(without_form(z, {.kind = FormKind::kArc, .radius_mm = 25.0}, whole(5601, 0.001))), 1e-6);
}

TEST(FormRemoval, ArcMayBeConcaveTiltedSteepOrFlat) {
  struct Row {
    double radius_mm, x0_mm, sign;
  };
  for (const Row& row : {Row{25.0, 2.8, -1.0}, Row{8.0, 5.0, 1.0}, Row{5.0, 3.0, -1.0},
                         Row{300.0, -20.0, 1.0}, Row{1e5, 1.0, 1.0}}) {
    const auto z = arc(5601, 0.001, row.radius_mm, row.x0_mm, row.sign);
    const auto r = without_form(z, {.kind = FormKind::kArc}, whole(5601, 0.001));
    EXPECT_LT(largest(r), 1e-5) << row.radius_mm;
    const ArcGrid grid{.spacing_mm = 0.001, .fit_first = 0, .fit_count = 5601};
    const auto fitted = fit_circle_arc(z, grid, std::nullopt);
    ASSERT_TRUE(fitted.has_value());
    EXPECT_NEAR(fitted->radius_mm / row.radius_mm, 1.0, 1e-4) << row.radius_mm;
    EXPECT_EQ(fitted->convex, row.sign > 0.0) << row.radius_mm;
  }
}

TEST(FormRemoval, ArcThroughALineIsThatLine) {
  const auto z = profiles::sampled(2000, 0.001, [](double x) { return 3.0 * x + 1.0; });
  EXPECT_LT(largest(without_form(z, {.kind = FormKind::kArc}, whole(2000, 0.001))), 1e-8);
}

TEST(FormRemoval, HeightsAboveAnArcArePositiveAwayFromTheMaterial) {
  for (const double sign : {1.0, -1.0}) {
    auto z = arc(5601, 0.001, 25.0, 2.8, sign);
    z[2800] += 1.0;  // a peak, on a convex or a concave part
    const auto r = without_form(z, {.kind = FormKind::kArc}, whole(5601, 0.001));
    EXPECT_NEAR(r[2800], 1.0, 1e-3) << sign;
  }
}

TEST(FormRemoval, RefusesAnArcThatEndsInsideOfTheTrace) {
  // Fitted over its middle, the circle of 2 mm does not reach the ends of the 5.6 mm.
  const auto z = profiles::sampled(5601, 0.001, [](double x) {
    const double u = std::clamp(x - 2.8, -1.9, 1.9);
    return 1000.0 * (std::sqrt(4.0 - u * u) - 2.0);
  });
  const auto fit =
      FormFit::prepare({.kind = FormKind::kArc},
                       {.sample_count = 5601, .spacing_mm = 0.001, .fit_first = 1400, .fit_count = 2800});
  ASSERT_TRUE(fit.has_value());
  std::vector<double> residual(z.size());
  const auto removed = fit->remove(z, residual);
  ASSERT_FALSE(removed.has_value());
  EXPECT_EQ(removed.error().code, base::ErrorCode::kNotConverged);
}

TEST(FormRemoval, ArcOfAKnownRadiusLeavesWhatIsNotOfThatRadius) {
  const auto z = arc(5601, 0.001, 25.0, 2.8, 1.0);
  const auto r = without_form(z, {.kind = FormKind::kArc, .radius_mm = 30.0}, whole(5601, 0.001));
  EXPECT_NEAR(*std::max_element(r.begin(), r.end()) - *std::min_element(r.begin(), r.end()),
              157.294833 - 131.0, 1.0);  // difference of the sags: 2.8^2 / 2 / R
}

// Gauss-Newton against an independent minimum: moving any unknown of the fit must not lower the sum of
// squares.
TEST(FormRemoval, ArcIsALeastSquaresMinimum) {
  auto z = arc(3001, 0.001, 12.0, 1.7, 1.0);
  const auto noise = profiles::rough(3001, 0.5, 5, 77);
  for (std::size_t i = 0; i < z.size(); ++i) z[i] += noise[i];
  const ArcGrid grid{.spacing_mm = 0.001, .fit_first = 0, .fit_count = 3001};
  const auto fitted = fit_circle_arc(z, grid, std::nullopt);
  ASSERT_TRUE(fitted.has_value());
  // The circle of the unknowns, and plain distances from its centre.
  const auto squares = [&](const CircleArc& arc_of) {
    const double q = std::sqrt(1.0 + 4.0 * arc_of.a * arc_of.d);
    const double centre_x = q * std::sin(arc_of.slope_angle) / (2.0 * arc_of.a);
    const double centre_z = -q * std::cos(arc_of.slope_angle) / (2.0 * arc_of.a);
    double sum = 0.0;
    for (std::size_t i = 0; i < z.size(); ++i) {
      const double x = (static_cast<double>(i) - 1500.0) / 1500.0;
      const double distance = std::hypot(x - centre_x, z[i] / arc_of.half_length_um - centre_z) -
                              1.0 / (2.0 * std::abs(arc_of.a));
      sum += distance * distance;
    }
    return sum;
  };
  const double least = squares(*fitted);
  for (const double move : {-1e-5, 1e-5}) {
    CircleArc a = *fitted;
    a.a += move;
    CircleArc d = *fitted;
    d.d += move;
    CircleArc angle = *fitted;
    angle.slope_angle += move;
    EXPECT_GT(squares(a), least);
    EXPECT_GT(squares(d), least);
    EXPECT_GT(squares(angle), least);
  }
}

// Mean square of what form removal leaves of a wave of amplitude 1 with n whole periods on the face, as a
// share of the wave's own 1/2. Closed form of the projection on the Legendre polynomials over -1..1: of
// sin(pi n t) the line P1 takes 6 / (pi n)^2, of cos(pi n t) the parabola P2, as which a free radius acts,
// takes 90 / (pi n)^4.
double kept_share(const std::vector<double>& heights_um, const FormRemoval& form, double spacing_mm) {
  const auto r = without_form(heights_um, form, whole(heights_um.size(), spacing_mm));
  double squares = 0.0;
  for (const double value : r) squares += value * value;
  return squares / (0.5 * static_cast<double>(r.size()));
}

TEST(FormRemoval, ArcDoesNotEatTheWavesOfACrestOrJournal) {
  struct Face {
    double length_mm, radius_mm, sign;
  };
  // Across a lobe crest, across a journal, along a barrelled journal, in a hollow.
  for (const Face& face :
       {Face{5.6, 25.0, 1.0}, Face{5.6, 12.0, 1.0}, Face{14.0, 2000.0, 1.0}, Face{8.0, 60.0, -1.0}}) {
    for (const double waves : {2.0, 4.0, 8.0, 20.0}) {
      for (const double phase : {0.0, 0.25 * profiles::kPi, 0.5 * profiles::kPi}) {
        const std::size_t count = 5600;
        const double spacing_mm = face.length_mm / static_cast<double>(count);
        const double middle_mm = 0.5 * (face.length_mm - spacing_mm);
        auto z = arc(count, spacing_mm, face.radius_mm, middle_mm, face.sign);
        for (std::size_t i = 0; i < count; ++i) {
          z[i] +=
              profiles::sine(static_cast<double>(i) * spacing_mm - middle_mm, face.length_mm / waves, phase);
        }
        const double turn = profiles::kPi * waves;
        const double by_line = std::cos(phase) * std::cos(phase) * 6.0 / (turn * turn);
        const double by_parabola = std::sin(phase) * std::sin(phase) * 90.0 / std::pow(turn, 4.0);
        // Distances are taken normal to the arc and not along z: flanks of a slope s weigh s^2 less.
        const double slope = 0.5 * face.length_mm / face.radius_mm;
        const double tolerance = 3e-4 + 0.1 * slope * slope;
        EXPECT_NEAR(kept_share(z, {.kind = FormKind::kArc}, spacing_mm), 1.0 - by_line - by_parabola,
                    tolerance)
            << face.radius_mm << " " << waves << " " << phase;
        const FormRemoval known{.kind = FormKind::kArc, .radius_mm = face.radius_mm};
        EXPECT_NEAR(kept_share(z, known, spacing_mm), 1.0 - by_line, tolerance)
            << face.radius_mm << " " << waves << " " << phase;
      }
    }
  }
}

// With four waves or more on the face, the height of a wave is kept to 4 % by a fixed and by a free radius,
// and with eight to 1 %: what is lost is the line's share, which a plain line takes as well.
TEST(FormRemoval, WavesOnAnArcKeepTheirHeight) {
  for (const double waves : {4.0, 8.0}) {
    for (double phase = 0.0; phase < profiles::kPi; phase += 0.1) {
      auto z = arc(5600, 0.001, 25.0, 2.8, 1.0);
      for (std::size_t i = 0; i < z.size(); ++i) {
        z[i] += profiles::sine(static_cast<double>(i) * 0.001, 5.6 / waves, phase);
      }
      for (const FormRemoval& form :
           {FormRemoval{.kind = FormKind::kArc}, FormRemoval{.kind = FormKind::kArc, .radius_mm = 25.0}}) {
        const auto r = without_form(z, form, whole(5600, 0.001));
        double cosine = 0.0;
        double sine = 0.0;
        for (std::size_t i = 0; i < r.size(); ++i) {
          const double x = static_cast<double>(i) * 0.001;
          cosine += r[i] * profiles::sine(x, 5.6 / waves, 0.5 * profiles::kPi) / 2800.0;
          sine += r[i] * profiles::sine(x, 5.6 / waves) / 2800.0;
        }
        EXPECT_NEAR(std::hypot(cosine, sine), 1.0, waves < 8.0 ? 0.04 : 0.01) << waves << " " << phase;
      }
    }
  }
}

TEST(FormRemoval, RefusesImpossibleForms) {
  const auto code = [](const FormRemoval& form, std::size_t count) {
    const auto fit = FormFit::prepare(form, whole(count, 0.001));
    return fit.has_value() ? base::ErrorCode::kIo : fit.error().code;
  };
  EXPECT_EQ(code({.kind = FormKind::kPolynomial, .degree = 11}, 100), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.kind = FormKind::kPolynomial, .degree = 0}, 100), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.kind = FormKind::kArc, .radius_mm = 0.04}, 100), base::ErrorCode::kInvalidConfig);
  EXPECT_EQ(code({.kind = FormKind::kArc}, 2), base::ErrorCode::kTooShort);
  EXPECT_EQ(code({.kind = FormKind::kLine}, 1), base::ErrorCode::kTooShort);
}

}  // namespace
}  // namespace crestgate::analysis
