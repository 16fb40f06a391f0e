// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/cabinet/timing_diagram.h"

#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "daemon/cell/cycle_bench.h"
#include "daemon/report/counted.h"

namespace crestgate::report {
namespace {

cell::CellDescription described() {
  cell::CellDescription cell = cell::two_zone_cell();
  cell.timing = {.zone_timeout_ms = 12'500, .acknowledge_timeout_ms = 7'000, .green_limit_ms = 95'000};
  return cell;
}

// By hand: this compiler's regular expressions do not pass its own warnings under the sanitizers.
std::vector<double> numbers_after(const std::string& text, const std::string& letters) {
  std::vector<double> numbers;
  for (std::size_t at = text.find(letters); at != std::string::npos; at = text.find(letters, at + 1)) {
    const std::string rest = text.substr(at + letters.size());
    const std::size_t length = rest.find_first_not_of("0123456789.");
    if (length != 0) numbers.push_back(std::stod(rest.substr(0, length)));
  }
  return numbers;
}

class Diagram : public ::testing::TestWithParam<const HandshakeTimeline*> {
 protected:
  cell::CellDescription cell_ = described();
  std::string svg_ = timing_diagram(*GetParam(), cell_, "one");
};

TEST_P(Diagram, LevelsRunFromLeftToRight) {
  const std::string begin = "<path d=\"M176 ";
  std::size_t rows = 0;
  for (std::size_t at = svg_.find(begin); at != std::string::npos; at = svg_.find(begin, at + 1)) {
    const std::string path = svg_.substr(at, svg_.find('"', at + begin.size()) - at);
    if (!path.ends_with("H992")) continue;
    ++rows;
    const std::vector<double> xs = numbers_after(path, "H");
    for (std::size_t i = 1; i < xs.size(); ++i) EXPECT_LE(xs[i - 1], xs[i]) << path;
  }
  std::size_t expected = 0;
  for (const LineSignal row : GetParam()->rows) expected += row_of(row).drawn != Drawn::kValue ? 1U : 0U;
  EXPECT_GE(rows, expected);
}

TEST_P(Diagram, EveryRowAndEveryStepIsNamed) {
  for (const LineSignal row : GetParam()->rows)
    EXPECT_EQ(counted(svg_, ">" + std::string(row_of(row).label) + "</text>"), 1U) << row_of(row).label;
  EXPECT_EQ(counted(svg_, "<circle "), GetParam()->steps.size());
}

TEST_P(Diagram, StepsStandAboveTheirInstantsInTheOrderOfTheirBeginning) {
  const std::vector<HandshakeStep> steps(GetParam()->steps.begin(), GetParam()->steps.end());
  for (std::size_t i = 1; i < steps.size(); ++i) EXPECT_LE(steps[i - 1].from, steps[i].from) << i;
}

// Brackets of one lane must not run into each other: the disc alone is 19 units wide.
TEST_P(Diagram, StepsOfOneLaneDoNotTouch) {
  const auto& steps = GetParam()->steps;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    for (std::size_t j = i + 1; j < steps.size(); ++j) {
      if (steps[i].lane != steps[j].lane) continue;
      EXPECT_LE(steps[i].to, steps[j].from) << i + 1 << " and " << j + 1;
    }
  }
}

TEST_P(Diagram, TimesAreThoseOfTheCell) {
  EXPECT_GE(counted(svg_, ">max 12.5 s</text>"), 1U);
  EXPECT_EQ(counted(svg_, ">max 7 s</text>"), 1U);
  const std::string steps = step_table(*GetParam(), cell_);
  EXPECT_GE(counted(steps, ">12.5 s<"), 1U);
  EXPECT_EQ(counted(steps, ">7 s<"), 1U);
}

TEST_P(Diagram, IsNamedAndDescribedForWhoCannotSeeIt) {
  EXPECT_EQ(counted(svg_, "role=\"img\" aria-labelledby=\"one-title one-desc\""), 1U);
  EXPECT_EQ(counted(svg_, "<title id=\"one-title\">"), 1U);
  EXPECT_EQ(counted(svg_, "<desc id=\"one-desc\">"), 1U);
}

// 1000 units are at least 255 mm on US Letter lengthwise: 8 pt are 11.07 units.
TEST_P(Diagram, NoTextIsSmallerThanEightPoints) {
  for (const double size : numbers_after(svg_, "font-size=\""))
    EXPECT_GE(size, 8.0 / 72.0 * 25.4 / 255.0 * 1000.0);
}

TEST_P(Diagram, NothingIsDrawnBeyondItsFrame) {
  for (const char* letter : {"H", "x=\"", "cx=\""}) {
    for (const double x : numbers_after(svg_, letter)) EXPECT_LE(x, 1000.0);
  }
}

INSTANTIATE_TEST_SUITE_P(BothTimelines, Diagram, ::testing::Values(&kWholePart, &kAbortedPart),
                         [](const auto& tested) { return tested.index == 0 ? "WholePart" : "AbortedPart"; });

TEST(TimingDiagram, GreenHasItsLimit) {
  const cell::CellDescription cell = described();
  EXPECT_EQ(counted(timing_diagram(kWholePart, cell, "one"), ">max 95 s</text>"), 1U);
}

}  // namespace
}  // namespace crestgate::report
