// SPDX-License-Identifier: Apache-2.0
// Which law holds for which parameter under which filter. A law that holds is tested with a bound; one that
// does not is tested to fail, so that nobody relies on it.
//
//   law                       gaussian  robust  robust2  spline  two-step  disk closing
//   shift  z + c              all       all     all      all     all       all
//   scale  k z                all but Rdl, Rdr, Rmr at a depth                 none
//   mirror -z                 all but Rpq.., Rvmp..              none      none
//   reversal of the trace     all       all     all      all     all       all
//   R + W = P                 yes, each; no longer with lambda_f
#include <cmath>
#include <functional>
#include <map>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"
#include "analysis/texture/texture_computation.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.0005;
constexpr std::size_t kCount = 11200;

using Numbers = std::map<std::string, double>;
using Profile = std::vector<double>;

struct FilterCase {
  const char* name;
  FilterKind filter;
  bool disk;
};
constexpr FilterCase kCases[] = {
    {"gaussian", FilterKind::kGaussian, false},    {"robust", FilterKind::kRobustOrder0, false},
    {"robust2", FilterKind::kRobustOrder2, false}, {"spline", FilterKind::kSpline, false},
    {"two-step", FilterKind::kTwoStep, false},     {"disk", FilterKind::kGaussian, true}};

TextureSettings settings_of(const FilterCase& filter_case) {
  TextureSettings settings;
  settings.filter = filter_case.filter;
  if (filter_case.disk) settings.disk = DiskFilter{.radius_mm = 0.1};
  settings.ratios = {{.profile = 'R', .family = RatioFamily::kRatioAtDepth, .first = 5.0, .second = 1.0}};
  return settings;
}

// The numbers that exist, by symbol; units beside them.
Numbers numbers_of(const TextureSettings& settings, const Profile& heights_um,
                   std::map<std::string, std::string>* units = nullptr) {
  const auto computation = TextureComputation::prepare(settings, kSpacing, heights_um.size());
  EXPECT_TRUE(computation.has_value());
  Workspace workspace;
  std::vector<ParameterValue> values(computation->names().size());
  EXPECT_TRUE(computation->run(heights_um, workspace, values).has_value());
  Numbers numbers;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const ParameterName& name = computation->names()[i];
    if (values[i].defined) numbers[name.symbol] = values[i].value;
    if (units != nullptr) (*units)[name.symbol] = name.unit;
  }
  return numbers;
}

// Ground, with grooves, a wave and a tilt: skewed, so that the mirror has something to show.
Profile surface() {
  Profile z = profiles::rough(kCount, 0.4, 12, 5);
  for (std::size_t i = 0; i < kCount; ++i) {
    const double x = static_cast<double>(i) * kSpacing;
    z[i] += 0.5 * profiles::sine(x, 1.7, 0.3) + 0.8 * x -
            3.0 * std::pow(std::max(0.0, profiles::sine(x, 0.31)), 60.0);
  }
  return z;
}

Profile changed(const std::function<double(double)>& change) {
  Profile z = surface();
  for (double& height_um : z) height_um = change(height_um);
  return z;
}

double bound_of(const std::string& symbol, const Numbers& numbers) {
  const double total_um = numbers.at(std::string(1, symbol[0]) + "t");
  return 1e-7 * std::max(std::abs(numbers.at(symbol)), total_um);
}

std::string suffix_of(const std::string& symbol) { return symbol.substr(1); }

TEST(TextureLaws, AShiftChangesNothing) {
  for (const FilterCase& filter_case : kCases) {
    const Numbers before = numbers_of(settings_of(filter_case), surface());
    const Numbers after = numbers_of(settings_of(filter_case), changed([](double z) { return z + 7.0; }));
    EXPECT_EQ(before.size(), after.size()) << filter_case.name;
    for (const auto& [symbol, value] : before) {
      EXPECT_NEAR(after.at(symbol), value, bound_of(symbol, before)) << symbol << " " << filter_case.name;
    }
  }
}

TEST(TextureLaws, ReversalOfTheTraceChangesNothing) {
  const Profile forward = surface();
  const Profile backward(forward.rbegin(), forward.rend());
  for (const FilterCase& filter_case : kCases) {
    const Numbers before = numbers_of(settings_of(filter_case), forward);
    const Numbers after = numbers_of(settings_of(filter_case), backward);
    for (const auto& [symbol, value] : before) {
      EXPECT_NEAR(after.at(symbol), value, bound_of(symbol, before)) << symbol << " " << filter_case.name;
    }
  }
}

// Powers of the factor by unit; densities and curvatures share "1/mm".
double power_of(const std::string& symbol, const std::string& unit) {
  const std::string suffix = suffix_of(symbol);
  if (unit == "um" || unit == "um2/mm" || unit == "um/um" || suffix == "mpc" || suffix == "mvc") return 1.0;
  return 0.0;
}

bool fails_to_scale(const std::string& symbol) {
  return suffix_of(symbol) == "dl" || suffix_of(symbol) == "dr" || symbol == "Rmr(5%,1.0um)";
}

TEST(TextureLaws, HeightsScaleWithTheSurface) {
  constexpr double kFactor = 3.0;
  for (const FilterCase& filter_case : kCases) {
    if (filter_case.disk) continue;
    std::map<std::string, std::string> units;
    const Numbers before = numbers_of(settings_of(filter_case), surface(), &units);
    const Numbers after = numbers_of(settings_of(filter_case), changed([](double z) { return kFactor * z; }));
    for (const auto& [symbol, value] : before) {
      const double expected = value * std::pow(kFactor, power_of(symbol, units.at(symbol)));
      if (!fails_to_scale(symbol)) {
        EXPECT_NEAR(after.at(symbol), expected, kFactor * bound_of(symbol, before))
            << symbol << " " << filter_case.name;
      }
    }
  }
}

TEST(TextureLaws, DevelopedLengthsAndDepthsInMicrometresDoNotScale) {
  const TextureSettings settings = settings_of(kCases[0]);
  const Numbers before = numbers_of(settings, surface());
  const Numbers after = numbers_of(settings, changed([](double z) { return 3.0 * z; }));
  EXPECT_GT(after.at("Rdl"), 1.001 * before.at("Rdl"));
  EXPECT_LT(after.at("Rdl"), 1.1 * before.at("Rdl"));
  EXPECT_GT(after.at("Rdr"), 7.0 * before.at("Rdr"));  // small slopes: nearly with the square
  EXPECT_LT(after.at("Rmr(5%,1.0um)"), before.at("Rmr(5%,1.0um)") - 10.0);
}

// A disk is round in micrometres: three times as rough a surface is another surface for it.
TEST(TextureLaws, ADiskDoesNotScale) {
  const TextureSettings settings = settings_of(kCases[5]);
  const Numbers before = numbers_of(settings, surface());
  const Numbers after = numbers_of(settings, changed([](double z) { return 3.0 * z; }));
  EXPECT_GT(std::abs(after.at("Pq") / (3.0 * before.at("Pq")) - 1.0), 0.02);
}

// What a parameter becomes when the surface is turned inside out: its partner and what is done to it.
struct Mirrored {
  std::string symbol;
  std::function<double(double)> of = [](double value) { return value; };
};

std::map<std::string, Mirrored> mirrored_suffixes() {
  std::map<std::string, Mirrored> partner;
  for (const auto& [a, b] : {std::pair{"p", "v"},
                             {"pt", "vt"},
                             {"pk", "vk"},
                             {"ak1", "ak2"},
                             {"pkx", "vkx"},
                             {"pd", "vd"},
                             {"mpc", "mvc"},
                             {"5p", "5v"}}) {
    partner[a] = {b};
    partner[b] = {a};
  }
  partner["sk"] = {"sk", [](double value) { return -value; }};
  partner["mrk1"] = {"mrk2", [](double value) { return 100.0 - value; }};
  partner["mrk2"] = {"mrk1", [](double value) { return 100.0 - value; }};
  return partner;
}

// Plateaus are sought above only, volumes are cut at 10 and 80 %, depths are counted from the peaks.
bool has_no_mirror(const std::string& symbol) {
  static const std::set<std::string> none = {"pq", "vq", "mq", "vmp", "vmc", "vvc", "vvv"};
  return none.contains(suffix_of(symbol)) || symbol.find('(') != std::string::npos;
}

TEST(TextureLaws, TheMirrorSwapsPeaksAndValleysUnderEvenFilters) {
  const auto partners = mirrored_suffixes();
  for (const FilterCase& filter_case : kCases) {
    if (filter_case.disk || filter_case.filter == FilterKind::kTwoStep) continue;
    const Numbers before = numbers_of(settings_of(filter_case), surface());
    const Numbers after = numbers_of(settings_of(filter_case), changed([](double z) { return -z; }));
    for (const auto& [symbol, value] : before) {
      if (has_no_mirror(symbol)) continue;
      const auto partner = partners.find(suffix_of(symbol));
      const std::string other = partner == partners.end() ? symbol : symbol[0] + partner->second.symbol;
      const double expected = partner == partners.end() ? value : partner->second.of(value);
      ASSERT_TRUE(after.contains(other)) << symbol << " " << filter_case.name;
      // A crossing counts as above; a sample on the line may change sides.
      EXPECT_NEAR(after.at(other), expected, bound_of(symbol, before)) << symbol << " " << filter_case.name;
    }
  }
}

TEST(TextureLaws, TheMirrorFailsUnderTheTwoStepFilterAndTheDisk) {
  for (const FilterCase& filter_case : {kCases[4], kCases[5]}) {
    const Numbers before = numbers_of(settings_of(filter_case), surface());
    const Numbers after = numbers_of(settings_of(filter_case), changed([](double z) { return -z; }));
    EXPECT_GT(std::abs(after.at("Rp") - before.at("Rv")), 1e-3 * before.at("Rt")) << filter_case.name;
  }
}

TEST(TextureLaws, RoughnessAndWavinessAddUpUnlessSomethingWasTakenOffTheWaviness) {
  const auto largest_rest_um = [](const TextureSettings& settings) {
    const auto computation = TextureComputation::prepare(settings, kSpacing, kCount);
    EXPECT_TRUE(computation.has_value());
    Workspace workspace;
    std::vector<ParameterValue> values(computation->names().size());
    EXPECT_TRUE(computation->run(surface(), workspace, values).has_value());
    double largest = 0.0;
    for (std::size_t i = 0; i < kCount; ++i) {
      largest = std::max(largest, std::abs(workspace.primary_um()[i] - workspace.roughness_um()[i] -
                                           workspace.waviness_um()[i]));
    }
    return largest;
  };
  for (const FilterCase& filter_case : kCases) {
    TextureSettings settings = settings_of(filter_case);
    EXPECT_LT(largest_rest_um(settings), 1e-12) << filter_case.name;
    settings.lambda_f_mm = 2.5;
    EXPECT_GT(largest_rest_um(settings), 0.1) << filter_case.name;
  }
}

// A smooth surface: at half the spacing the same numbers within the bound, under every filter.
TEST(TextureLaws, AFinerGridOfASmoothSurfaceChangesLittle) {
  const auto at = [](double x) { return profiles::golden_g1_at(x) + 0.7 * profiles::sine(x, 3.0, 0.2); };
  const Profile coarse = profiles::sampled(kCount, kSpacing, at);
  const Profile fine = profiles::sampled(2 * kCount, 0.5 * kSpacing, at);
  for (const FilterCase& filter_case : kCases) {
    const auto numbers_at = [&filter_case](const Profile& z, double spacing_mm) {
      const auto computation = TextureComputation::prepare(settings_of(filter_case), spacing_mm, z.size());
      EXPECT_TRUE(computation.has_value());
      Workspace workspace;
      std::vector<ParameterValue> values(computation->names().size());
      EXPECT_TRUE(computation->run(z, workspace, values).has_value());
      Numbers numbers;
      for (std::size_t i = 0; i < values.size(); ++i)
        numbers[computation->names()[i].symbol] = values[i].value;
      return numbers;
    };
    // Steepest crests and dales lie between samples; the disk touches at samples only (disk_filter.h).
    const double bound = filter_case.disk ? 2e-2 : 1e-2;
    const Numbers a = numbers_at(coarse, kSpacing);
    const Numbers b = numbers_at(fine, 0.5 * kSpacing);
    for (const char* symbol :
         {"Ra", "Rq", "Rz", "Rt", "Rk", "Rvk", "Rdq", "Rsm", "Rc", "Ral", "Rvmc", "Wq", "Pt"}) {
      EXPECT_NEAR(b.at(symbol), a.at(symbol), bound * std::abs(a.at(symbol)))
          << symbol << " " << filter_case.name;
    }
  }
}

}  // namespace
}  // namespace crestgate::analysis
