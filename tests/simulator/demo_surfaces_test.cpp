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
  double proud_um = 0.0;        // from the height that 5 % exceed to the one that 0.5 % exceed
  double valley_um = 0.0;       // from the height that half exceed to the one that 98 % exceed
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
  look.proud_um = rough[rough.size() / 200] - rough[rough.size() / 20];
  look.valley_um = rough[rough.size() / 2] - rough[rough.size() * 98 / 100];
  const auto [low, high] = std::minmax_element(wave.begin() + 800, wave.end() - 800);
  look.wave_um = *high - *low;
  return look;
}

struct Range {
  double low = 0.0;
  double high = HUGE_VAL;
};

struct Expected {
  Range ra_um, share_at_04_um, wave_um, proud_um, valley_um;
  int traces = 0;
};

void expect_within(const char* what, double value, const Range& range) {
  EXPECT_GT(value, range.low) << what;
  EXPECT_LT(value, range.high) << what;
}

// What each process is known by; where a range is empty it is not known by that.
const std::map<std::string, Expected>& expectations() {
  static const Expected kGround = {.ra_um = {0.3, 0.6},
                                   .share_at_04_um = {0.0, 0.3},
                                   .wave_um = {0.0, 1.2},
                                   .proud_um = {0.6},
                                   .valley_um = {}};
  static const Expected kFinished = {.ra_um = {0.0, 0.22},
                                     .share_at_04_um = {0.6},
                                     .wave_um = {0.0, 0.7},
                                     .proud_um = {0.0, 0.2},
                                     .valley_um = {0.2}};
  const auto with = [](Expected expected, int traces) {
    expected.traces = traces;
    return expected;
  };
  Expected wavy = kFinished;
  wavy.wave_um = {1.5};
  Expected belt = kFinished;
  belt.wave_um = {0.8};
  belt.proud_um = {0.0, 0.3};
  Expected proud = kFinished;
  proud.proud_um = {0.4};
  Expected peened = proud;  // the pits make it rough, the rims stand out
  peened.ra_um = {0.15, 0.35};
  peened.share_at_04_um = {};
  peened.wave_um = {0.0, 0.8};
  peened.proud_um = {0.2};
  peened.valley_um = {0.7};
  Expected torn = peened;
  torn.share_at_04_um = {0.6};
  Expected overfinished = kFinished;
  overfinished.ra_um = {0.0, 0.05};
  overfinished.valley_um = {0.0, 0.1};
  static const std::map<std::string, Expected> kAll = {
      {"crest-ground", with(kGround, 2)},      {"crest-unfinished", with(kGround, 2)},
      {"crest-finished", with(kFinished, 20)}, {"journal-finished", with(kFinished, 36)},
      {"crest-wavy", with(wavy, 2)},           {"crest-belt", with(belt, 2)},
      {"crest-particles", with(proud, 2)},     {"crest-peened", with(peened, 2)},
      {"crest-torn", with(torn, 2)},           {"crest-overfinished", with(overfinished, 2)}};
  return kAll;
}

TEST(DemoScenario, PartsOfDifferentProcessesLieFarApart) {
  const auto scenario = read_scenario(CRESTGATE_SOURCE_DIR "/packaging/examples/scenario/demo.scenario");
  ASSERT_TRUE(scenario.has_value()) << scenario.error().detail;
  std::map<std::string, int> seen;
  const auto take = [&](const NamedTrace& trace) -> base::Outcome {
    const Look look = look_at(trace.counts);
    const std::string& surface = scenario->parts.at(trace.part).at(trace.zone);
    SCOPED_TRACE(trace.part.part + " zone " + std::to_string(trace.zone) + " " + surface);
    ++seen[surface];
    const Expected& expected = expectations().at(surface);
    expect_within("Ra", look.ra_um, expected.ra_um);
    expect_within("share at 0.4 um", look.share_at_04_um, expected.share_at_04_um);
    expect_within("wave", look.wave_um, expected.wave_um);
    expect_within("proud", look.proud_um, expected.proud_um);
    expect_within("valley", look.valley_um, expected.valley_um);
    return base::Done{};
  };
  ASSERT_TRUE(for_each_trace(*scenario, {}, take).has_value());
  for (const auto& [surface, expected] : expectations()) EXPECT_EQ(seen[surface], expected.traces) << surface;
  EXPECT_TRUE(scenario->faults.empty()) << "a demonstration asks for its faults itself";
}

}  // namespace
}  // namespace crestgate::simulator
