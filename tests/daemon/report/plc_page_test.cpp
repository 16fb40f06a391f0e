// SPDX-License-Identifier: Apache-2.0
// The page is held against the register map and against the Markdown page that the driver prints from it.

#include "daemon/report/cabinet/plc_page.h"

#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/cycle_bench.h"
#include "daemon/report/cabinet/step_faults.h"
#include "daemon/report/counted.h"
#include "daemon/report/markup/html_text.h"
#include "driver/signal/modbus/register_page.h"
#include "registers/register_map.h"
#include "registers/register_words.h"

namespace crestgate::report {
namespace {

cell::CellDescription described() {
  cell::CellDescription cell = cell::two_zone_cell();
  cell.plc.address = "192.0.2.7";
  cell.plc.port = 10502;
  cell.plc.unit = 17;
  cell.plc.heartbeat_timeout_ms = 1750;
  cell.timing = {.zone_timeout_ms = 12'500, .acknowledge_timeout_ms = 7'000, .green_limit_ms = 95'000};
  return cell;
}

const std::string& page() {
  static const std::string text = plc_page(described(), {.software_version = "9.8.7"});
  return text;
}

TEST(PlcPage, EveryRegisterOfThePlcStandsOnce) {
  for (const registers::Field& field : registers::plc::kFields) {
    const std::string id = "plc-" + std::to_string(field.address);
    EXPECT_EQ(counted(page(), "id=\"" + id + "\""), 1U);
    const std::string_view row = row_with_id(page(), id);
    EXPECT_EQ(counted(row, "<b>" + std::string(field.name) + "</b>"), 1U) << row;
    EXPECT_EQ(counted(row, escaped(field.meaning)), 1U) << row;
    EXPECT_EQ(counted(row, ">" + range_text({.first = 40001U + field.address, .count = field.count}) + "<"),
              1U)
        << row;
  }
  EXPECT_EQ(counted(page(), "<tr id=\"plc-"), registers::plc::kFields.size());
}

TEST(PlcPage, EveryRegisterOfTheCellStandsOnceWithBothPlaces) {
  for (const registers::Field& field : registers::cell::kFields) {
    const std::string id = "cell-" + std::to_string(field.address);
    EXPECT_EQ(counted(page(), "id=\"" + id + "\""), 1U);
    const std::string_view row = row_with_id(page(), id);
    EXPECT_EQ(counted(row, "<b>" + std::string(field.name) + "</b>"), 1U) << row;
    EXPECT_EQ(counted(row, escaped(field.meaning)), 1U) << row;
    EXPECT_EQ(counted(row, ">" + range_text({.first = 30001U + field.address, .count = field.count}) + "<"),
              1U)
        << row;
    EXPECT_EQ(counted(row, ">" + range_text({.first = 40101U + field.address, .count = field.count}) + "<"),
              1U)
        << row;
  }
  EXPECT_EQ(counted(page(), "<tr id=\"cell-"), registers::cell::kFields.size());
}

TEST(PlcPage, BitsWordsAndTheRuleAreThoseOfTheRegisterPage) {
  const std::string markdown = driver::register_page();
  const auto expect_bits = [&markdown](const auto& bits) {
    for (const registers::Bit& bit : bits) {
      const std::string row = "| " + std::to_string(registers::bit_number(bit.mask)) + " | " +
                              hex_word(bit.mask) + " | " + std::string(bit.name) + " | " +
                              std::string(bit.meaning) + " |\n";
      EXPECT_EQ(counted(markdown, row), 1U) << row;
      EXPECT_EQ(counted(page(), "<td class=\"num\">" + hex_word(bit.mask) + "</td><td class=\"num\"><b>" +
                                    escaped(bit.name) + "</b></td><td>" + escaped(bit.meaning) + "</td>"),
                1U)
          << row;
    }
  };
  expect_bits(registers::kFlagBits);
  expect_bits(registers::kControlBits);
  for (const registers::NumberedWord& word : registers::kVerdictWords)
    EXPECT_EQ(counted(markdown, "| " + hex_word(word.number) + " | "), 1U);
  for (const std::string_view condition : registers::kAcceptConditions) {
    EXPECT_EQ(counted(markdown, condition), 1U) << condition;
    EXPECT_EQ(counted(page(), "<li>" + escaped(condition) + ";</li>"), 1U) << condition;
  }
}

TEST(PlcPage, StatesAndFatesAreThoseOfTheVocabulary) {
  EXPECT_EQ(static_cast<unsigned>(base::CellState::kStopping), registers::kStateWords.back().number);
  EXPECT_EQ(static_cast<unsigned>(base::Fate::kPassUnmeasured), registers::kFateWords.back().number);
}

// 123456.0F is 47F12000h (IEEE 754 binary32), -70000 is FFFEEE90h in two's complement, "AB" is 4142h in ASCII.
TEST(PlcPage, TestPatternStandsInWords) {
  EXPECT_NE(page().find(">123456.0</td><td class=\"num\">47F1h 2000h</td>"), std::string::npos);
  EXPECT_NE(page().find(">-70000</td><td class=\"num\">FFFEh EE90h</td>"), std::string::npos);
  EXPECT_NE(page().find(">AB</td><td class=\"num\">4142h</td>"), std::string::npos);
}

TEST(PlcPage, TheWiringIsThatOfTheCell) {
  for (const char* words :
       {"<b>192.0.2.7</b>, port <b>10502</b>, unit <b>17</b>", "<b>1.75 s</b> is a silent PLC",
        "at most <b>12.5 s</b>", "at most <b>7 s</b>", "at most <b>95 s</b>", "input registers 0 to 74",
        "holding registers 100 to 174", "holding registers 0 to 63"})
    EXPECT_EQ(counted(page(), words), 1U) << words;
}

TEST(PlcPage, ZonesOfAPlanStandInTheirOrderWithTheTimeOfTheStylus) {
  // 5.6 mm at 1 mm/s; two traverses on crest A.
  EXPECT_NE(
      page().find(
          "<ol><li><b>crest A</b>: 2 x 5.6 mm, 11.2 s</li><li><b>crest B</b>: 1 x 5.6 mm, 5.6 s</li></ol>"),
      std::string::npos);
}

TEST(PlcPage, AnIgnoredHeartbeatIsSaid) {
  cell::CellDescription cell = described();
  cell.plc.heartbeat_required = false;
  const std::string text = plc_page(cell, {.software_version = "1"});
  EXPECT_NE(text.find("<b>ignored</b>: this cell does not watch its PLC"), std::string::npos);
  EXPECT_EQ(text.find("is a silent PLC"), std::string::npos);
}

TEST(PlcPage, NamesAreTextAndNeverMarkup) {
  cell::CellDescription cell = described();
  cell.name = "<script>";
  cell.plans[0].plan.name = "<i>";
  cell.plans[0].plan.part_plan.zones[0].name = "A&B";
  const std::string text = plc_page(cell, {.software_version = "1"});
  EXPECT_EQ(text.find("<script"), std::string::npos);
  EXPECT_EQ(text.find("<i>"), std::string::npos);
  EXPECT_NE(text.find("<b>A&amp;B</b>"), std::string::npos);
}

TEST(PlcPage, EveryFaultOfAStepStandsOnceWithItsReason) {
  for (const StepFault& fault : kStepFaults) {
    const std::string id = "fault-" + std::string(fault.test_id);
    EXPECT_EQ(counted(page(), "id=\"" + id + "\""), 1U) << id;
    const std::string_view row = row_with_id(page(), id);
    EXPECT_EQ(counted(row, escaped(fault.cell_does)), 1U) << row;
    if (fault.reason != base::Reason::kNone) {
      EXPECT_EQ(counted(row, "<b>" + std::to_string(static_cast<unsigned>(fault.reason)) + "</b>"), 1U)
          << row;
    }
  }
}

TEST(StepFaults, EveryStepKnowsWhatHappensWhenItIsMissing) {
  for (int step = 0; step <= static_cast<int>(LineStep::kConnection); ++step) {
    bool missing = false;
    for (const StepFault& fault : kStepFaults)
      missing =
          missing || (fault.step == static_cast<LineStep>(step) && fault.kind == StepFaultKind::kMissing);
    EXPECT_TRUE(missing) << name_of(static_cast<LineStep>(step));
  }
}

TEST(StepFaults, NoneOfThemEndsInAReasonOfAnAccept) {
  for (const StepFault& fault : kStepFaults)
    EXPECT_NE(fault.reason, base::Reason::kAllWithinLimits) << fault.test_id;
}

TEST(PlcPage, IsASmallFile) { EXPECT_LT(page().size(), 200'000U); }

}  // namespace
}  // namespace crestgate::report
