// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/texture_computation.h"

#include <cmath>
#include <functional>
#include <limits>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/ratios.h"

namespace crestgate::analysis {
namespace {

using profiles::sine;

struct Outcome {
  std::map<std::string, ParameterValue> values;
  Workspace workspace;
  EvaluationLayout layout;
  double operator[](const std::string& symbol) const { return values.at(symbol).value; }
};

Outcome compute(const TextureSettings& settings, double spacing_mm, const std::vector<double>& heights_um) {
  const auto computation = TextureComputation::prepare(settings, spacing_mm, heights_um.size());
  if (!computation) throw std::runtime_error(computation.error().detail);
  Outcome outcome;
  std::vector<ParameterValue> values(computation->names().size());
  const auto run = computation->run(heights_um, outcome.workspace, values);
  if (!run) throw std::runtime_error(run.error().detail);
  for (std::size_t i = 0; i < values.size(); ++i) outcome.values[computation->names()[i].symbol] = values[i];
  outcome.layout = computation->layout();
  return outcome;
}

TextureSettings plain() {
  TextureSettings settings;
  settings.lambda_s_mm = 0.0;
  settings.form.kind = FormKind::kNone;
  return settings;
}

constexpr double kSpacing = 0.0005;
constexpr std::size_t kCount = 11200;  // 5.6 mm: five sections of 0.8 mm with full run-up

// Closed form: amplitudes 1 and 2 at 0.1 and 2.5 mm through lambda_s 2.5 um and lambda_c 0.8 mm, over 2.5 mm.
TEST(TextureComputation, SplitsTwoTonesByTheTransmission) {
  TextureSettings settings = plain();
  settings.lambda_s_mm = 0.0025;
  settings.section_length_mm = 0.5;  // le = 2.5 mm: whole periods
  const auto z =
      profiles::sampled(9000, kSpacing, [](double x) { return sine(x, 0.1) + 2.0 * sine(x, 2.5); });
  const Outcome found = compute(settings, kSpacing, z);
  EXPECT_NEAR(found["Rq"], 0.713412, 2e-6);
  EXPECT_NEAR(found["Ra"], 0.639338, 2e-5);  // sampled |z|
  EXPECT_NEAR(found["Wa"], 1.185999, 2e-6);
  EXPECT_NEAR(found["Wt"], 3.725926, 2e-6);
  EXPECT_NEAR(found["Pq"], std::sqrt((0.999566877 * 0.999566877 + 1.999998614 * 1.999998614) / 2.0), 1e-8);
}

// G1 runs on for 4 mm on both sides and goes through an 8 mm filter, which takes little else than its mean.
// What the filter's own mean line adds is bounded by how far the means of 8 mm windows differ: some
// hundredths of a micrometre.
TEST(TextureComputation, FindsTheEvaluationLengthOfGoldenG1InALongerTrace) {
  TextureSettings settings = plain();
  settings.lambda_c_mm = 8.0;
  settings.section_length_mm = 0.8;
  const auto z = profiles::sampled(24000, kSpacing, [](double x) { return profiles::golden_g1_at(x - 4.0); });
  const Outcome found = compute(settings, kSpacing, z);
  EXPECT_EQ(found.layout.first_sample, 8000U);
  EXPECT_NEAR(found["Ra"], 0.6769153533, 5e-3);
  EXPECT_NEAR(found["Rz"], 4.2174953767, 1e-3);  // section heights do not see a slow mean line
  EXPECT_NEAR(found["Rzx"], 4.6950302052, 1e-3);
  EXPECT_NEAR(found["Rt"], 4.7995755477, 1e-2);
}

TEST(TextureComputation, PrimaryIsRoughnessPlusWaviness) {
  TextureSettings settings;
  const Outcome found = compute(settings, kSpacing, profiles::rough(kCount, 0.8, 20, 1));
  const auto p = found.workspace.primary_um();
  const auto r = found.workspace.roughness_um();
  const auto w = found.workspace.waviness_um();
  ASSERT_EQ(p.size(), kCount);
  for (std::size_t i = 0; i < kCount; ++i) ASSERT_NEAR(p[i], r[i] + w[i], 1e-12);
}

// Every end rule is built on its own assumption; with one cut-off of run-up none of them may be seen.
TEST(TextureComputation, EndRulesAgreeInsideTheEvaluationLengthWithFullRunUp) {
  auto z = profiles::rough(kCount, 0.8, 20, 2);
  for (std::size_t i = 0; i < kCount; ++i) z[i] += 3.0 * sine(static_cast<double>(i) * kSpacing, 3.0, 0.4);
  const Outcome plain = compute({}, kSpacing, z);
  ASSERT_TRUE(plain.layout.full_run_up);
  double largest = 0.0;
  for (const EndRule ends : {EndRule::kMomentOrder1, EndRule::kZero, EndRule::kExtrapolated,
                             EndRule::kReflected, EndRule::kPointReflected}) {
    TextureSettings settings;
    settings.ends = ends;
    const Outcome other = compute(settings, kSpacing, z);
    for (std::size_t i = plain.layout.first_sample; i < plain.layout.first_sample + plain.layout.sample_count;
         ++i) {
      ASSERT_NEAR(plain.workspace.roughness_um()[i], other.workspace.roughness_um()[i], 1e-6);
    }
    largest =
        std::max(largest, std::abs(plain.workspace.roughness_um()[0] - other.workspace.roughness_um()[0]));
  }
  EXPECT_GT(largest, 0.1);  // they do differ at the end itself
}

// Closed form: a Gaussian lambda_c = 0.8 mm shifts R of a 25 mm arc by 0.449475 um; with the arc removed R is
// as without.
TEST(TextureComputation, FormLeftInShiftsTheRoughnessAndAnArcTakesItOut) {
  const auto ripple = [](double x) { return 0.5 * sine(x, 0.1); };
  const auto bow = [](double x) { return 1000.0 * (std::sqrt(625.0 - (x - 2.8) * (x - 2.8)) - 25.0); };
  const auto flat = profiles::sampled(kCount, kSpacing, ripple);
  const auto bent = profiles::sampled(kCount, kSpacing, [&](double x) { return ripple(x) + bow(x); });
  TextureSettings settings = plain();
  const double without = compute(settings, kSpacing, flat)["Ra"];
  const Outcome left_in = compute(settings, kSpacing, bent);
  // The 4th-order part of the arc adds a little at the ends of the evaluation length.
  const std::size_t middle = kCount / 2;
  EXPECT_NEAR(left_in.workspace.roughness_um()[middle] - ripple(static_cast<double>(middle) * kSpacing),
              0.449475, 2e-4);
  settings.form.kind = FormKind::kArc;
  EXPECT_NEAR(compute(settings, kSpacing, bent)["Ra"], without, 1e-5);
  settings.form.radius_mm = 25.0;
  EXPECT_NEAR(compute(settings, kSpacing, bent)["Ra"], without, 1e-5);
}

TEST(TextureComputation, AStepFarInTheRunUpDoesNotChangeRoughness) {
  auto z = profiles::rough(16384, 0.8, 20, 3);
  const Outcome before = compute({}, kSpacing, z);
  for (std::size_t i = 0; i < 1000; ++i) z[i] += 30.0;  // more than a cut-off before the evaluation length
  const Outcome after = compute({}, kSpacing, z);
  for (const char* symbol : {"Ra", "Rz", "Rk", "Pt", "Wt"})
    EXPECT_NEAR(after[symbol], before[symbol], 1e-6) << symbol;
}

TEST(TextureComputation, ShiftTiltAndMirrorLeaveRoughnessAlone) {
  const auto z = profiles::rough(kCount, 0.8, 20, 4);
  std::vector<double> tilted;
  std::vector<double> reversed(z.rbegin(), z.rend());
  for (std::size_t i = 0; i < kCount; ++i)
    tilted.push_back(z[i] + 100.0 + 20.0 * static_cast<double>(i) * kSpacing);
  const Outcome a = compute({}, kSpacing, z);
  const Outcome b = compute({}, kSpacing, tilted);
  const Outcome c = compute({}, kSpacing, reversed);
  for (const auto& [symbol, value] : a.values) {
    EXPECT_NEAR(b[symbol], value.value, 1e-9 * std::max(1.0, std::abs(value.value))) << symbol;
    EXPECT_NEAR(c[symbol], value.value, 1e-9 * std::max(1.0, std::abs(value.value))) << symbol;
  }
}

TEST(TextureComputation, HeightsScaleAndShapesDoNot) {
  const auto z = profiles::rough(kCount, 0.8, 20, 5);
  std::vector<double> doubled;
  for (const double value : z) doubled.push_back(4.0 * value);  // a power of two: exact
  const Outcome a = compute({}, kSpacing, z);
  const Outcome b = compute({}, kSpacing, doubled);
  for (const char* symbol : {"Ra", "Rq", "Rz", "Rzx", "Rt", "Rp", "Rv", "Rk", "Rpk", "Rvk", "Wt", "Pt"}) {
    EXPECT_NEAR(b[symbol], 4.0 * a[symbol], 1e-12) << symbol;
  }
  for (const char* symbol : {"Rsk", "Rku", "Rmrk1", "Rmrk2"})
    EXPECT_NEAR(b[symbol], a[symbol], 1e-9) << symbol;
  EXPECT_NEAR(a["Rz"], a["Rp"] + a["Rv"], 1e-12);
  EXPECT_GE(a["Rt"], a["Rzx"]);
  EXPECT_GE(a["Rzx"], a["Rz"]);
}

TEST(TextureComputation, AConstantProfileHasHeightsOfZeroAndNoShape) {
  TextureSettings settings;
  settings.waves = WaveBand{.shortest_mm = 0.8, .longest_mm = 5.0};
  settings.ratios = ratios({"Rmr(5%,1.0um)"});
  settings.form.kind = FormKind::kNone;
  const Outcome found = compute(settings, kSpacing, std::vector<double>(kCount, 0.0));
  for (const char* symbol :
       {"Rsk", "Rku", "Wsk", "Pku", "WaveSpacing", "Ral", "Rsw", "Rsm", "Rc", "R5p", "Rpq"}) {
    EXPECT_FALSE(found.values.at(symbol).defined) << symbol;
  }
  EXPECT_EQ(found["Ra"], 0.0);
  EXPECT_EQ(found["Rk"], 0.0);
  EXPECT_EQ(found["Rmr(5%,1.0um)"], 100.0);
  EXPECT_EQ(found["WaveCount"], 0.0);
  EXPECT_EQ(found["WaveHeight"], 0.0);
  EXPECT_FALSE(found.workspace.waves().found);
}

// What is left of it after form removal is rounding, and has no shape of its own.
TEST(TextureComputation, ALevelTraceAtAnyHeightHasNoShape) {
  for (const double height_um : {3.3, 12345.678}) {
    const Outcome found = compute({}, kSpacing, std::vector<double>(kCount, height_um));
    for (const char* symbol : {"Rsk", "Rku", "Wsk", "Ral", "Rsw"}) {
      EXPECT_FALSE(found.values.at(symbol).defined) << symbol << " " << height_um;
    }
    EXPECT_EQ(found["Pt"], 0.0);
  }
}

TEST(TextureComputation, ALambdaFBeyondTheTraceIsRefused) {
  TextureSettings settings;
  settings.lambda_f_mm = 1e9;
  const auto computation = TextureComputation::prepare(settings, kSpacing, kCount);
  ASSERT_FALSE(computation.has_value());
  EXPECT_EQ(computation.error().code, base::ErrorCode::kTooShort);
}

TEST(TextureComputation, OneSpikeIsOnePeak) {
  std::vector<double> z(kCount, 0.0);
  z[5600] = 10.0;
  TextureSettings settings = plain();
  const Outcome found = compute(settings, kSpacing, z);
  // w under the spike is the kernel's middle weight: dx / (alpha Lc) of it.
  EXPECT_NEAR(found["Rpt"], 10.0 * (1.0 - kSpacing / (0.469718639 * 0.8)), 1e-6);
  EXPECT_NEAR(found["Rp"], found["Rpt"] / 5.0, 1e-3);
  EXPECT_LT(found["Ra"], 0.01);
}

TEST(TextureComputation, RefusesHeightsThatAreNotFinite) {
  const auto computation = TextureComputation::prepare({}, kSpacing, kCount);
  ASSERT_TRUE(computation.has_value());
  Workspace workspace;
  std::vector<ParameterValue> values(computation->names().size());
  struct Row {
    double height_um;
    base::ErrorCode code;
  };
  // Not a number stands for a sample that is missing: more than the settings let be bridged.
  for (const Row& row : {Row{std::numeric_limits<double>::quiet_NaN(), base::ErrorCode::kNoData},
                         Row{std::numeric_limits<double>::infinity(), base::ErrorCode::kNotFinite}}) {
    std::vector<double> z(kCount, 1.0);
    z[77] = row.height_um;
    const auto run = computation->run(z, workspace, values);
    ASSERT_FALSE(run.has_value());
    EXPECT_EQ(run.error().code, row.code);
    EXPECT_NE(run.error().detail.find("sample 77"), std::string::npos) << run.error().detail;
  }
  std::vector<double> huge(kCount, 0.0);  // finite, but its powers are not
  for (std::size_t i = 0; i < kCount; i += 2) huge[i] = 1e200;
  const auto run = computation->run(huge, workspace, values);
  ASSERT_FALSE(run.has_value());
  EXPECT_EQ(run.error().code, base::ErrorCode::kNotFinite);
}

TEST(TextureComputation, RefusesTwoSamples) {
  const auto computation = TextureComputation::prepare({}, kSpacing, 2);
  ASSERT_FALSE(computation.has_value());
  EXPECT_EQ(computation.error().code, base::ErrorCode::kTooShort);
}

TEST(TextureComputation, RefusesImpossibleSettings) {
  const auto code = [](const std::function<void(TextureSettings&)>& change) {
    TextureSettings settings;
    change(settings);
    const auto computation = TextureComputation::prepare(settings, kSpacing, kCount);
    return computation.has_value() ? base::ErrorCode::kIo : computation.error().code;
  };
  const auto invalid = base::ErrorCode::kInvalidConfig;
  EXPECT_EQ(code([](TextureSettings& s) { s.lambda_c_mm = 0.0; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.lambda_c_mm = std::nan(""); }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.lambda_s_mm = -1.0; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.lambda_s_mm = 0.8; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.sections = 0; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.section_length_mm = -0.8; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.form = {.kind = FormKind::kPolynomial, .degree = 12}; }),
            invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.form = {.kind = FormKind::kArc, .radius_mm = 0.5}; }), invalid);
  using enum RatioFamily;
  for (const RatioSymbol& ratio :
       {RatioSymbol{'R', kRatioAtDepth, 101.0, 1.0}, RatioSymbol{'R', kHeightBetweenRatios, 98.0, 2.0},
        RatioSymbol{'R', kHeightAtRatio, -1.0}, RatioSymbol{'R', kRatioAtHeight, std::nan("")},
        RatioSymbol{'X', kRatioAtHeight, 1.0}}) {
    EXPECT_EQ(code([&ratio](TextureSettings& s) { s.ratios = {ratio}; }), invalid) << symbol_of(ratio);
  }
  EXPECT_EQ(code([](TextureSettings& s) { s.lambda_f_mm = 0.5; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.disk = DiskFilter{.radius_mm = 0.0}; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.elements.hill_percent = 101.0; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.pruning_percent = 0.0; }), invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.waves = WaveBand{.shortest_mm = 2.0, .longest_mm = 1.0}; }),
            invalid);
  EXPECT_EQ(code([](TextureSettings& s) { s.waves = WaveBand{.shortest_mm = 1.0, .longest_mm = 9.0}; }),
            base::ErrorCode::kTooShort);
}

TEST(TextureComputation, GivesTheSameBitsWhateverTheWorkspaceSawBefore) {
  TextureSettings settings;
  settings.waves = WaveBand{.shortest_mm = 0.8, .longest_mm = 5.0};
  const auto z = profiles::rough(kCount, 0.8, 20, 6);
  const Outcome fresh = compute(settings, kSpacing, z);
  const auto other = TextureComputation::prepare({}, kSpacing, 20000);
  const auto again = TextureComputation::prepare(settings, kSpacing, kCount);
  Workspace workspace;
  std::vector<ParameterValue> first(other->names().size());
  ASSERT_TRUE(other->run(profiles::rough(20000, 2.0, 5, 7), workspace, first).has_value());
  std::vector<ParameterValue> values(again->names().size());
  ASSERT_TRUE(again->run(z, workspace, values).has_value());
  for (std::size_t i = 0; i < values.size(); ++i) EXPECT_EQ(values[i].value, fresh[again->names()[i].symbol]);
}

// Refinement of the grid: a smooth profile has the same parameters at half the spacing.
TEST(TextureComputation, DoesNotDependOnTheGridOfASmoothProfile) {
  const auto shape = [](double x) { return profiles::golden_g1_at(x) + sine(x, 3.0); };
  const Outcome coarse = compute({}, 0.0005, profiles::sampled(kCount, 0.0005, shape));
  const Outcome fine = compute({}, 0.00025, profiles::sampled(2 * kCount, 0.00025, shape));
  for (const char* symbol : {"Ra", "Rq", "Rz", "Rt", "Rk", "Rvk", "Wt", "Pt"}) {
    EXPECT_NEAR(fine[symbol], coarse[symbol], 4e-3 * std::abs(coarse[symbol])) << symbol;
  }
}

}  // namespace
}  // namespace crestgate::analysis
