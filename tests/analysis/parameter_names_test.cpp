// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/parameter_names.h"

#include <algorithm>
#include <limits>
#include <set>
#include <string>

#include <gtest/gtest.h>

#include "analysis/ratios.h"
#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

std::string unit_of(const std::vector<ParameterName>& names, const std::string& symbol) {
  const auto found = std::ranges::find(names, symbol, &ParameterName::symbol);
  return found == names.end() ? "absent" : found->unit;
}

TEST(ParameterNames, CarryTheirSettings) {
  TextureSettings settings;
  settings.ratios = ratios({"Rmr(5%,1.0um)", "Rmr(2.5%,0.25um)", "Rmr(0.5um)", "Rmr(-1.0um)", "Rmc(10%)",
                            "Rdc(2%,98%)", "Pmr(5%,1.0um)"});
  settings.waves = WaveBand{};
  const auto names = parameter_names(settings);
  EXPECT_EQ(unit_of(names, "Rmr(5%,1.0um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmr(2.5%,0.25um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmr(0.5um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmr(-1.0um)"), "%");
  EXPECT_EQ(unit_of(names, "Rmc(10%)"), "um");
  EXPECT_EQ(unit_of(names, "Pmr(5%,1.0um)"), "%");
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

TEST(ParameterNames, ASymbolThatDoesNotExistGetsItsNeighbours) {
  EXPECT_EQ(no_such_parameter("Rzz", {}),
            "these settings give no parameter 'Rzz'; the nearest are: Rz, Rzx, Ra, Rq, Rsk, Rku");
  EXPECT_EQ(no_such_parameter("WaveHeight", {}),
            "these settings give no parameter 'WaveHeight': they have no band of waves");
  EXPECT_EQ(no_such_parameter("roughness", {}), "these settings give no parameter 'roughness'");
}

TEST(ParameterNames, OnlyPeaksPitsAndHeightsAreTakenInSections) {
  for (const char* symbol : {"Rp", "Rv", "Rz", "Wz", "Pp"})
    EXPECT_TRUE(is_taken_in_sections(symbol)) << symbol;
  for (const char* symbol : {"Ra", "Rzx", "Rt", "Rk", "WaveHeight"}) {
    EXPECT_FALSE(is_taken_in_sections(symbol)) << symbol;
  }
}

TEST(ParameterNames, RoughnessAloneCanBeSeenWithASkid) {
  for (const char* symbol : {"Ra", "Rk", "Rmr(5%,1.0um)"})
    EXPECT_FALSE(needs_skidless_pickup(symbol)) << symbol;
  for (const char* symbol : {"Wa", "Pt", "WaveHeight", "Crown", "Pmr(0.5um)"}) {
    EXPECT_TRUE(needs_skidless_pickup(symbol)) << symbol;
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
