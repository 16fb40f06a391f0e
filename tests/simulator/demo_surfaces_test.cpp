// SPDX-License-Identifier: Apache-2.0
// The demo scenario's parts must be told apart with room to spare, by the quantities that limits are set on.
// The numbers here are taken from the whole traces about a parabola, without filters: none of them is a
// standard's parameter, they only have to lie far apart.

#include <algorithm>
#include <cmath>
#include <map>

#include <gtest/gtest.h>

#include "simulator/scenario/traces.h"

namespace crestgate::simulator {
namespace {

struct Look {
  double ra_um = 0.0;           // mean absolute height about a moving mean of 0.4 mm
  double share_at_04_um = 0.0;  // of that: share higher than 0.4 um below the height that 5 % exceed
  double wave_um = 0.0;         // total height of the moving mean, ends left out
};

std::vector<double> moving_mean(const std::vector<double>& z, std::size_t half) {
  std::vector<double> sums(z.size() + 1, 0.0);
  for (std::size_t i = 0; i < z.size(); ++i) sums[i + 1] = sums[i] + z[i];
  std::vector<double> mean(z.size());
  for (std::size_t i = 0; i < z.size(); ++i) {
    const std::size_t from = i > half ? i - half : 0;
    const std::size_t to = std::min(i + half + 1, z.size());
    mean[i] = (sums[to] - sums[from]) / static_cast<double>(to - from);
  }
  return mean;
}

// Removes c0 + c1 t + c2 t^2, t in -1..1, by projection on the Legendre polynomials (nearly orthogonal on a
// fine grid).
void remove_parabola(std::vector<double>& z) {
  const auto n = static_cast<double>(z.size());
  for (int degree = 0; degree <= 2; ++degree) {
    const auto p = [degree, n](std::size_t i) {
      const double t = (2.0 * static_cast<double>(i) + 1.0) / n - 1.0;
      return degree == 0 ? 1.0 : degree == 1 ? t : 0.5 * (3.0 * t * t - 1.0);
    };
    double product = 0.0, power = 0.0;
    for (std::size_t i = 0; i < z.size(); ++i) product += z[i] * p(i), power += p(i) * p(i);
    for (std::size_t i = 0; i < z.size(); ++i) z[i] -= product / power * p(i);
  }
}

Look look_at(const std::vector<std::int32_t>& counts) {
  std::vector<double> z;
  for (const std::int32_t count : counts) z.push_back(0.001 * count);  // steps of 1 nm
  remove_parabola(z);
  const std::vector<double> wave = moving_mean(z, 400);
  std::vector<double> rough(z.begin() + 800, z.end() - 800);
  for (std::size_t i = 0; i < rough.size(); ++i) rough[i] -= wave[i + 800];
  Look look;
  for (const double value : rough) look.ra_um += std::abs(value) / static_cast<double>(rough.size());
  std::sort(rough.begin(), rough.end(), std::greater<>());
  const double depth = rough[rough.size() / 20] - 0.4;
  look.share_at_04_um = static_cast<double>(std::count_if(rough.begin(), rough.end(),
                                                          [depth](double v) { return v > depth; })) /
                        static_cast<double>(rough.size());
  const auto [low, high] = std::minmax_element(wave.begin() + 800, wave.end() - 800);
  look.wave_um = *high - *low;
  return look;
}

TEST(DemoScenario, GroundFinishedAndWavyPartsLieFarApart) {
  const auto scenario = read_scenario(CRESTGATE_SOURCE_DIR "/packaging/examples/scenario/demo.scenario");
  ASSERT_TRUE(scenario.has_value()) << scenario.error().detail;
  std::map<std::string, int> seen;
  const auto take = [&](const NamedTrace& trace) -> base::Outcome {
    const Look look = look_at(trace.counts);
    const std::string& surface = scenario->parts.at(trace.part).at(trace.zone);
    SCOPED_TRACE(trace.part.part + " zone " + std::to_string(trace.zone) + " " + surface);
    ++seen[surface];
    if (surface == "crest-ground") {
      EXPECT_GT(look.ra_um, 0.3);
      EXPECT_LT(look.ra_um, 0.6);
      EXPECT_LT(look.share_at_04_um, 0.3);
      EXPECT_LT(look.wave_um, 1.2);
    } else {
      EXPECT_LT(look.ra_um, 0.22);
      EXPECT_GT(look.share_at_04_um, 0.6);
      if (surface == "crest-wavy") {
        EXPECT_GT(look.wave_um, 1.5);
      } else {
        EXPECT_LT(look.wave_um, 0.7);
      }
    }
    return base::Done{};
  };
  ASSERT_TRUE(for_each_trace(*scenario, {}, take).has_value());
  EXPECT_EQ(seen["crest-finished"], 20);
  EXPECT_EQ(seen["journal-finished"], 24);
  EXPECT_EQ(seen["crest-ground"], 2);
  EXPECT_EQ(seen["crest-wavy"], 2);
}

}  // namespace
}  // namespace crestgate::simulator
