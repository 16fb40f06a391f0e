// SPDX-License-Identifier: Apache-2.0
// The card is held against base/reason.h, the only list of the codes.

#include "daemon/report/cabinet/reason_card.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "base/reason.h"
#include "daemon/report/cabinet/light_meaning.h"
#include "daemon/report/cabinet/reason_action.h"
#include "daemon/report/counted.h"
#include "daemon/report/markup/html_text.h"

namespace crestgate::report {
namespace {

const std::string& card() {
  static const std::string page = reason_card("bench 1", {.software_version = "9.8.7"});
  return page;
}

std::string code_id(base::Reason reason) { return "code-" + std::to_string(static_cast<unsigned>(reason)); }

TEST(ReasonCard, EveryReasonStandsOnceWithNumberSentenceActorAndAction) {
  for (const base::ReasonText& text : base::kReasonTexts) {
    EXPECT_EQ(counted(card(), "id=\"" + code_id(text.reason) + "\""), 1U);
    const std::string_view row = row_with_id(card(), code_id(text.reason));
    EXPECT_EQ(counted(row, ">" + std::to_string(static_cast<unsigned>(text.reason)) + "</th>"), 1U);
    EXPECT_EQ(counted(row, sentence(text.sentence)), 1U) << row;
    EXPECT_EQ(counted(row, escaped(action_of(text.reason))), 1U) << row;
    EXPECT_EQ(counted(row, "class=\"who"), 1U);
    EXPECT_EQ(counted(row, "nobody</span>"), text.actor == base::Actor::kNobody ? 1U : 0U);
    EXPECT_EQ(counted(card(), ">" + sentence(text.sentence) + ".<"), 1U);
  }
  EXPECT_EQ(counted(card(), "<tr id=\"code-"), base::kReasonTexts.size());
}

TEST(ReasonCard, CodesAreSortedAndStandUnderTheHeadingOfTheirHundred) {
  std::size_t last = 0;
  for (const ReasonGroup& group : kReasonGroups) {
    const std::size_t heading = card().find(">" + escaped(group.heading) + "</h2>");
    ASSERT_NE(heading, std::string::npos) << group.heading;
    EXPECT_GT(heading, last);
    last = heading;
    for (const base::ReasonText& text : base::kReasonTexts) {
      const auto code = static_cast<unsigned>(text.reason);
      if (code < group.first || code > group.last) continue;
      const std::size_t at = card().find("id=\"" + code_id(text.reason) + "\"");
      EXPECT_GT(at, last) << code;
      last = at;
    }
  }
}

TEST(ReasonCard, TellsThatTheLampIsNoSafetyDevice) {
  for (const char* words :
       {"It is no safety device", "quality of a part", "machine's own safety system", "licensed practice"})
    EXPECT_EQ(counted(card(), words), 1U) << words;
}

TEST(ReasonCard, UsualLightsHaveAWordAPositionAndSteadyOrFlashing) {
  const std::size_t reject = card().find("<b>REJECT</b>");
  const std::size_t act = card().find("<b>ACT</b>");
  const std::size_t accept = card().find("<b>ACCEPT</b>");
  ASSERT_NE(accept, std::string::npos);
  EXPECT_LT(reject, act);
  EXPECT_LT(act, accept);
  EXPECT_NE(card().find("1, top: REJECT, steady. 2: ACT, flashing. 3, bottom: ACCEPT, steady. "),
            std::string::npos);
}

TEST(ReasonCard, LightsOfTheSiteTakeTheirPlaces) {
  const std::vector<driver::Light> lights = {
      {.label = "NACHARBEIT <1>", .shows = driver::Shows::kRework, .flashing = true},
      {.label = "GUT", .shows = driver::Shows::kAccept, .flashing = false}};
  const std::string page = reason_card("bench 1", {.software_version = "1"}, lights);
  EXPECT_NE(page.find("1, top: NACHARBEIT &lt;1&gt;, flashing. 2, bottom: GUT, steady. "), std::string::npos);
  EXPECT_EQ(counted(page, escaped(meaning_of(driver::Shows::kRework).means)), 1U);
  EXPECT_EQ(counted(page, escaped(meaning_of(driver::Shows::kReject).means)), 0U);
}

TEST(ReasonCard, NoLightButTheAcceptIsUsuallyGreen) {
  for (const LightMeaning& meaning : kLightMeanings)
    EXPECT_EQ(meaning.colour == "green", meaning.shows == driver::Shows::kAccept) << meaning.word;
}

TEST(ReasonCard, NamesItsCellAndVersionAsText) {
  const std::string page = reason_card("line <1> & \"2\"", {.software_version = "9.8.7"});
  EXPECT_EQ(page.find("line <1>"), std::string::npos);
  EXPECT_NE(page.find("<b>line &lt;1&gt; &amp; &quot;2&quot;</b>, crestgate 9.8.7"), std::string::npos);
}

TEST(ReasonCard, IsASmallFile) { EXPECT_LT(card().size(), 200'000U); }

}  // namespace
}  // namespace crestgate::report
