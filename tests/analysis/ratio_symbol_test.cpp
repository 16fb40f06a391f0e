// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/ratio_symbol.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/texture/parameter_names.h"

namespace crestgate::analysis {
namespace {

using testing::HasSubstr;

RatioSymbol parsed(const std::string& written) {
  const auto symbol = parse_ratio_symbol(written);
  EXPECT_TRUE(symbol.has_value()) << symbol.error().detail;
  return symbol ? *symbol : RatioSymbol{};
}

std::string refusal(const std::string& written) {
  const auto symbol = parse_ratio_symbol(written);
  EXPECT_FALSE(symbol.has_value()) << written;
  if (symbol.has_value()) return "";
  EXPECT_EQ(symbol.error().code, base::ErrorCode::kInvalidConfig);
  return symbol.error().detail;
}

TEST(RatioSymbol, ReadsEveryFamilyOfEveryProfile) {
  for (const char profile : {'R', 'P', 'W'}) {
    const std::string p(1, profile);
    EXPECT_EQ(parsed(p + "mr(0.5um)"), (RatioSymbol{profile, RatioFamily::kRatioAtHeight, 0.5, 0.0}));
    EXPECT_EQ(parsed(p + "mr(5%,1.0um)"), (RatioSymbol{profile, RatioFamily::kRatioAtDepth, 5.0, 1.0}));
    EXPECT_EQ(parsed(p + "mc(10%)"), (RatioSymbol{profile, RatioFamily::kHeightAtRatio, 10.0, 0.0}));
    EXPECT_EQ(parsed(p + "dc(2%,98%)"), (RatioSymbol{profile, RatioFamily::kHeightBetweenRatios, 2.0, 98.0}));
  }
}

TEST(RatioSymbol, ToleratesBlanksAndSpellings) {
  const char* rows[][2] = {{"Rmr( 5 %, 1um )", "Rmr(5%,1.0um)"}, {" Rmr (5.00%,1.000um) ", "Rmr(5%,1.0um)"},
                           {"Rmr(5%,500nm)", "Rmr(5%,0.5um)"},   {"Rmr(.5um)", "Rmr(0.5um)"},
                           {"Rmr(+1um)", "Rmr(1.0um)"},          {"Rmr(-0.25 um)", "Rmr(-0.25um)"},
                           {"Rmr(-0um)", "Rmr(0.0um)"},          {"Rmr(0.001mm)", "Rmr(1.0um)"},
                           {"Rmr(1\xC2\xB5m)", "Rmr(1.0um)"},    {"Rmr(1\xCE\xBCm)", "Rmr(1.0um)"},
                           {"Rmc(10.50 %)", "Rmc(10.5%)"},       {"Pdc(2% , 98%)", "Pdc(2%,98%)"},
                           {"Rmr(1e-1um)", "Rmr(0.1um)"}};
  for (const auto& row : rows) {
    EXPECT_EQ(symbol_of(parsed(row[0])), row[1]) << row[0];
    EXPECT_EQ(symbol_of(parsed(row[1])), row[1]) << "canonical";
  }
}

// Whatever the settings publish, a limit can name.
TEST(RatioSymbol, ReadsEverySymbolThatTheSettingsName) {
  TextureSettings settings;
  using enum RatioFamily;
  settings.ratios = {
      {'R', kRatioAtDepth, 5.0, 1.0}, {'R', kRatioAtDepth, 2.5, 1.0 / 3.0}, {'R', kRatioAtDepth, 50.0, 0.0},
      {'R', kRatioAtHeight, 0.5},     {'R', kRatioAtHeight, -1.0},          {'R', kRatioAtHeight, 0.0},
      {'R', kRatioAtHeight, 1e-7},    {'R', kHeightAtRatio, 0.0},           {'R', kHeightAtRatio, 10.0},
      {'R', kHeightAtRatio, 99.9},    {'R', kHeightBetweenRatios, 2, 98}};
  int seen = 0;
  for (const ParameterName& name : parameter_names(settings)) {
    if (!is_ratio_symbol(name.symbol)) continue;
    ++seen;
    EXPECT_EQ(symbol_of(parsed(name.symbol)), name.symbol);
    EXPECT_EQ(unit_of(parsed(name.symbol)), name.unit);
  }
  EXPECT_EQ(seen, 11);
}

TEST(RatioSymbol, TellsItsFamiliesFromOtherNames) {
  for (const char* name : {"Rmr", "Rmr(", "Rmc(10%)", "Wdc", "P mr (1um)"})
    EXPECT_TRUE(is_ratio_symbol(name));
  for (const char* name : {"Ra", "Rmrk1", "Rmq", "Rdq", "Smr(1um)", "mr", "Rmrs", "", "R"}) {
    EXPECT_FALSE(is_ratio_symbol(name)) << name;
  }
}

TEST(RatioSymbol, RefusalsSayWhatIsWanted) {
  EXPECT_EQ(refusal("Rmr(5%,1)"),
            "'Rmr(5%,1)': expected % or um after 1, found '' (numbers have a decimal point, not a comma)");
  EXPECT_THAT(refusal("Rmr(0,5um)"), HasSubstr("numbers have a decimal point, not a comma"));
  EXPECT_THAT(refusal("Rmr(5%,1,0um)"), HasSubstr("expected one or two numbers, found 3"));
  EXPECT_THAT(refusal("Rmr(5%)"), HasSubstr("takes a height above the mean line in um, as in Rmr(0.5um)"));
  EXPECT_THAT(refusal("Pmr(1um,5%)"),
              HasSubstr("the reference ratio in %, then the depth in um, as in Pmr(5%,1.0um)"));
  EXPECT_THAT(refusal("Rmr(5%,-1um)"), HasSubstr("is never negative, found -1 um"));
  EXPECT_THAT(refusal("Rmr(105%,1um)"), HasSubstr("between 0 and 100 %, found 105 %"));
  EXPECT_THAT(refusal("Rmc(1um)"), HasSubstr("takes material ratios in %"));
  EXPECT_THAT(refusal("Rmc(10%,20%)"), HasSubstr("expected one number, found 2"));
  EXPECT_THAT(refusal("Rdc(2%)"), HasSubstr("expected two numbers, found 1"));
  EXPECT_THAT(refusal("Rdc(98%,2%)"),
              HasSubstr("the first ratio must be smaller than the second, found 98 % and 2 %"));
  EXPECT_THAT(refusal("Rdc(2%,2%)"), HasSubstr("must be smaller"));
  EXPECT_THAT(refusal("Rmr"), HasSubstr("says nothing without its numbers"));
  EXPECT_THAT(refusal("Rmr()"), HasSubstr("says nothing without its numbers"));
  EXPECT_THAT(refusal("Rmr(1um"), HasSubstr("says nothing without its numbers"));
  EXPECT_THAT(refusal("Ra"), HasSubstr("expected Rmr(0.5um)"));
  for (const char* text :
       {"Rmr(um)", "Rmr(infum)", "Rmr(nan%,1um)", "Rmr(,1um)", "Rmr(1um,)", "Rmr(--1um)", "Rmr(+-1um)",
        "Rmr(1e400um)", "Rmr(1e308mm)", "Rmr(1 in)", "Rmr((1um))", "Rmr(1um)x"}) {
    EXPECT_FALSE(refusal(text).empty());
  }
  EXPECT_EQ(refusal("Rmr(\n1um)").find('\n'), std::string::npos);
  EXPECT_LT(refusal("Rmr(" + std::string(10000, '1') + ")").size(), 300U);
}

}  // namespace
}  // namespace crestgate::analysis
