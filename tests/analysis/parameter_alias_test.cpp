// SPDX-License-Identifier: Apache-2.0
// Old and new names: ISO 4287:1997 and ISO 13565-2:1996 against ISO 21920-2:2021, from memory of the
// standards.
#include "analysis/settings/parameter_alias.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/texture/parameter_names.h"

namespace crestgate::analysis {
namespace {

using testing::HasSubstr;

ResolvedName resolved(const std::string& written) {
  auto name = resolve_parameter_name(written);
  EXPECT_TRUE(name.has_value()) << name.error().detail;
  return name ? std::move(*name) : ResolvedName{};
}

std::string refusal(const std::string& written) {
  const auto name = resolve_parameter_name(written);
  EXPECT_FALSE(name.has_value()) << written;
  if (name.has_value()) return "";
  EXPECT_EQ(name.error().code, base::ErrorCode::kInvalidConfig);
  return name.error().detail;
}

TEST(ParameterAlias, OlderNamesBecomeTheCurrentOnesWithANote) {
  const char* rows[][2] = {{"RSm", "Rsm"},
                           {"RPc", "Rpc"},
                           {"Rmax", "Rzx"},
                           {"Rz1max", "Rzx"},
                           {"Mr1", "Rmrk1"},
                           {"Mr2", "Rmrk2"},
                           {"Rmr1", "Rmrk1"},
                           {"A1", "Rak1"},
                           {"A2", "Rak2"},
                           {"R\xCE\x94q", "Rdq"},
                           {"R\xE2\x88\x86q", "Rdq"},
                           {"R\xCE\x94"
                            "a",
                            "Rda"},
                           {"R\xCE\xB4"
                            "c(2%,98%)",
                            "Rdc(2%,98%)"},
                           {"R\xCE\xB4"
                            "c(2 %, 98.0 %)",
                            "Rdc(2%,98%)"},
                           {"WSm", "Wsm"},
                           {"PSm", "Psm"},
                           {"WPc", "Wpc"},
                           {"Pmax", "Pzx"},
                           {"Wz1max", "Wzx"},
                           {"P\xCE\xB4"
                            "c(5%,50%)",
                            "Pdc(5%,50%)"},
                           {"W\xCE\x94q", "Wdq"},
                           {"CLA", "Ra"},
                           {"AA", "Ra"},
                           {"RMS", "Rq"},
                           {"Sm", "Rsm"},
                           {"Rtm", "Rz"}};
  for (const auto& row : rows) {
    EXPECT_EQ(resolved(row[0]).symbol, row[1]);
    EXPECT_FALSE(resolved(row[0]).note.empty()) << row[0];
    EXPECT_EQ(resolved(resolved(row[0]).symbol).symbol, row[1]);
    EXPECT_EQ(resolved(row[1]).note, "") << row[1];
  }
  EXPECT_THAT(resolved("Mr1").note, HasSubstr("two-step filter"));
}

TEST(ParameterAlias, CurrentAndUnknownNamesStay) {
  TextureSettings settings;
  settings.waves = WaveBand{};
  for (const ParameterName& name : parameter_names(settings)) {
    EXPECT_EQ(resolved(name.symbol), (ResolvedName{name.symbol, "", std::nullopt}));
  }
  for (const char* name : {"Rsm", "Rpc", "R10z", "Rvmp", "Rpq", "Smr", "Xyz", "", "R", "Rz1", "WDt"}) {
    EXPECT_EQ(resolved(name), (ResolvedName{name, "", std::nullopt}));
  }
  EXPECT_EQ(resolved(" Ra ").symbol, "Ra");
}

TEST(ParameterAlias, RatioSymbolsComeWithTheirNumbers) {
  const ResolvedName name = resolved("Rmr(5 %, 1um)");
  EXPECT_EQ(name.symbol, "Rmr(5%,1.0um)");
  EXPECT_EQ(name.note, "");
  ASSERT_TRUE(name.ratio.has_value());
  EXPECT_EQ(*name.ratio, (RatioSymbol{'R', RatioFamily::kRatioAtDepth, 5.0, 1.0}));
  const ResolvedName old = resolved(
      "R\xCE\xB4"
      "c(2%,98%)");
  ASSERT_TRUE(old.ratio.has_value());
  EXPECT_EQ(old.ratio->family, RatioFamily::kHeightBetweenRatios);
  EXPECT_THAT(refusal("Rmr(5,1)"), HasSubstr("expected % or um after 5"));
  EXPECT_THAT(refusal("R\xCE\xB4"
                      "c"),
              HasSubstr("says nothing without its numbers"));
}

TEST(ParameterAlias, NamesThatMeantSomethingElseAreRefusedWithAReason) {
  EXPECT_THAT(refusal("Ry"), HasSubstr("write Rz (mean of the section heights), Rzx"));
  for (const char* name : {"RzJIS", "Rz(ISO)", "Rz (JIS)", "RzISO"}) {
    EXPECT_THAT(refusal(name), HasSubstr("ten-point height of ISO 4287-1:1984 is not computed"));
  }
  EXPECT_THAT(refusal("RPc(0.5um,-0.5um)"), HasSubstr("counts peaks between two levels"));
  EXPECT_THAT(refusal("WPc(1um)"), HasSubstr("write Wpc"));
  EXPECT_THAT(refusal("Rtp(1um)"), HasSubstr("write Rmr(0.5um)"));
  EXPECT_THAT(refusal("tp"), HasSubstr("does not say where its height counts from"));
}

}  // namespace
}  // namespace crestgate::analysis
