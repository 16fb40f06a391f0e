// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/parameter_names.h"

#include <algorithm>
#include <limits>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "analysis/texture/number_text.h"

namespace crestgate::analysis {
namespace {

std::string unit_of(const std::vector<ParameterName>& names, const std::string& symbol) {
  const auto found = std::ranges::find(names, symbol, &ParameterName::symbol);
  return found == names.end() ? "absent" : found->unit;
}

TEST(ParameterNames, CarryTheirSettings) {
  TextureSettings settings;
  settings.material_ratios = {{.reference_percent = 5.0, .depth_um = 1.0},
                              {.reference_percent = 2.5, .depth_um = 0.25}};
  settings.material_ratio_heights_um = {0.5, -1.0};
  settings.material_ratio_percents = {10.0};
  settings.height_differences = {{.upper_percent = 2.0, .lower_percent = 98.0}};
  settings.waves = WaveBand{};
  const auto names = parameter_names(settings);
  EXPECT_EQ(unit_of(names, "Rmr(5%,1.0um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmr(2.5%,0.25um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmr(0.5um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmr(-1.0um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmc(10%)"), "um");
  EXPECT_EQ(unit_of(names, "Rdc(2%,98%)"), "um");
  EXPECT_EQ(unit_of(names, "WaveCount"), "");
  EXPECT_EQ(unit_of(names, "WaveSpacing"), "mm");
  EXPECT_EQ(unit_of(names, "WaveHeight"), "um");
  EXPECT_EQ(unit_of(names, "Rak1"), "um2/mm");
  EXPECT_EQ(unit_of(names, "Rmrk1"), "%");
}

TEST(ParameterNames, AreAllDifferentAndHaveNoWavesWithoutABand) {
  const auto names = parameter_names({});
  std::set<std::string> symbols;
  for (const ParameterName& name : names) symbols.insert(name.symbol);
  EXPECT_EQ(symbols.size(), names.size());
  EXPECT_EQ(unit_of(names, "WaveCount"), "absent");
  for (const char* symbol :
       {"Ra",  "Rq",  "Rsk",   "Rku",   "Rt",   "Rz",   "Rzx", "Rp", "Rv", "Rpt", "Rvt", "Rk",
        "Rpk", "Rvk", "Rmrk1", "Rmrk2", "Rpkx", "Rvkx", "Wa",  "Wq", "Wt", "Pa",  "Pq",  "Pt"}) {
    EXPECT_TRUE(symbols.contains(symbol)) << symbol;
  }
}

TEST(NumberText, IsShortAndPlain) {
  EXPECT_EQ(shortest(5.0), "5");
  EXPECT_EQ(shortest(0.0025), "0.0025");
  EXPECT_EQ(shortest(-0.1), "-0.1");
  EXPECT_EQ(with_decimal(1.0), "1.0");
  EXPECT_EQ(with_decimal(0.25), "0.25");
  EXPECT_EQ(fixed(63.24, 1), "63.2");
  EXPECT_EQ(fixed(std::numeric_limits<double>::max(), 2).size(), 309U + 3U);
}

}  // namespace
}  // namespace crestgate::analysis
