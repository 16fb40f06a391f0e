// SPDX-License-Identifier: Apache-2.0
// The table that is printed for the cabinet, row by row, against the real cycle.

#include "daemon/report/cabinet/step_faults.h"

#include <algorithm>
#include <array>

#include <gtest/gtest.h>

#include "daemon/cell/step_plays.h"

namespace crestgate::cell {
namespace {

using report::kStepFaults;
using report::StepFault;

// Rows that say what the PLC's own program has to do, or what the register server does: played in
// tests/cell/plc_program_test.py and tests/driver/modbus_holder_test.cpp.
constexpr std::array<std::string_view, 6> kElsewhere = {
    "result_torn", "cell_silent", "cell_restarted", "cell_heartbeat_repeated", "cell_gone", "other_plc"};

Plays all_plays() {
  Plays plays;
  add_asking_plays(plays);
  add_measuring_plays(plays);
  add_people_plays(plays);
  return plays;
}

class StepFaults : public ::testing::TestWithParam<StepFault> {};

TEST_P(StepFaults, DoWhatTheirRowSays) {
  const Plays plays = all_plays();
  const auto play = plays.find(GetParam().test_id);
  if (play == plays.end()) {
    EXPECT_NE(std::ranges::find(kElsewhere, GetParam().test_id), kElsewhere.end()) << "a row without a play";
    return;
  }
  Stage stage;
  play->second(stage);
}

INSTANTIATE_TEST_SUITE_P(Cabinet, StepFaults, ::testing::ValuesIn(kStepFaults),
                         [](const auto& row) { return std::string(row.param.test_id); });

TEST(StepFaultPlays, EachBelongsToARow) {
  for (const auto& [id, play] : all_plays()) {
    EXPECT_NE(std::ranges::find(kStepFaults, id, &StepFault::test_id), kStepFaults.end()) << id;
  }
}

}  // namespace
}  // namespace crestgate::cell
