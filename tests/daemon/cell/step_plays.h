// SPDX-License-Identifier: Apache-2.0
#pragma once
// Each row of daemon/report/cabinet/step_faults.h, played to the real cycle.

#include <functional>
#include <map>
#include <string_view>

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {

// A cell with everything that a row may need: a bypass is allowed.
inline CellDescription played_cell() {
  CellDescription cell = two_zone_cell();
  cell.bypass = {.allowed = true, .longest_minutes = 60, .fate = base::Fate::kQuarantine};
  cell.plans.push_back(cell.plans.front());
  cell.plans.back().recipe = 11;
  cell.plans.back().plan.stage_number = 1;
  cell.plans.back().plan.name = "two crests, ground";
  return cell;
}

// The stage: the cell is ready. What every play needs beside the bench.
struct Stage {
  CycleBench bench;
  explicit Stage(const PartBook& book = {}, const CellDescription& cell = played_cell()) : bench(book, cell) {
    bench.plc({});
    bench.gauge_comes();
  }

  template <class Change>
  void plc(Change change) {
    bench.plc_changes(change);
  }
  void ask(std::uint16_t request = 1) { bench.request("ES-1", request); }
  void measure(base::Verdict verdict = base::Verdict::kAccept) { bench.measure("ES-1", verdict); }
  void empty_the_bench() { bench.plc({}); }

  // Whatever is owed to the ledger is written; then the answer is a none with this reason, and nothing is green.
  void expect_none(base::Reason reason) {
    while (bench.asks<RecordTraverse>()) bench.ledger_takes_traverse();
    ASSERT_TRUE(bench.asks<RecordJudgement>());
    bench.ledger_takes_judgement();
    EXPECT_EQ(bench.recorded().back().verdict, base::Verdict::kNone);
    EXPECT_EQ(bench.recorded().back().reason, reason) << base::text_of(bench.recorded().back().reason).name;
    expect_not_green();
  }
  // The green is taken back for this reason, and stays in the ledger.
  void expect_withdrawn(base::Reason reason) {
    EXPECT_EQ(bench.phase(), Phase::kIdle);
    EXPECT_EQ(bench.signal().reason, reason) << base::text_of(bench.signal().reason).name;
    EXPECT_EQ(bench.recorded().back().verdict, base::Verdict::kAccept);
    expect_not_green();
  }
  void expect_not_green() {
    EXPECT_NE(bench.signal().lamp, base::Lamp::kGreen);
    EXPECT_NE(bench.signal().verdict, base::Verdict::kAccept);
  }
  void expect_green() { EXPECT_EQ(bench.signal().lamp, base::Lamp::kGreen); }
  void expect_refused() { EXPECT_NE(bench.signal().warnings & base::kWarnRequestRefused, 0); }
  void finish() {
    bench.to_the_last_traverse();
    bench.ledger_takes_traverse();
    bench.analysis_says(base::Verdict::kAccept, base::Reason::kAllWithinLimits);
    bench.ledger_takes_judgement();
    bench.stylus_clears();
  }
};

using Play = std::function<void(Stage&)>;
using Plays = std::map<std::string_view, Play>;

void add_asking_plays(Plays& plays);
void add_measuring_plays(Plays& plays);
void add_people_plays(Plays& plays);

}  // namespace crestgate::cell
