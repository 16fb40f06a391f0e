// SPDX-License-Identifier: Apache-2.0
#pragma once
// A cycle with its gauge there and nothing in the way.

#include <utility>

#include <gtest/gtest.h>

#include "daemon/cell/cycle_bench.h"

namespace crestgate::cell {

struct ReadyCycle : ::testing::Test {
  explicit ReadyCycle(CellDescription description = two_zone_cell()) : bench({}, std::move(description)) {}
  CycleBench bench;
  void SetUp() override {
    bench.plc({});
    bench.gauge_comes();
    ASSERT_TRUE(bench.signal().ready);
  }
  // The verdict none was decided for this reason, is recorded and shown, and nothing is green.
  void expect_none(base::Reason reason) {
    while (bench.asks<RecordTraverse>()) bench.ledger_takes_traverse();
    ASSERT_TRUE(bench.asks<RecordJudgement>());
    EXPECT_FALSE(bench.signal().result_valid) << "shown before it was recorded";
    bench.ledger_takes_judgement();
    EXPECT_EQ(bench.recorded().back().verdict, base::Verdict::kNone);
    EXPECT_EQ(bench.recorded().back().reason, reason) << base::text_of(bench.recorded().back().reason).name;
    EXPECT_NE(bench.signal().lamp, base::Lamp::kGreen);
  }
  void expect_shown(base::Reason reason) {
    EXPECT_TRUE(bench.signal().result_valid);
    EXPECT_EQ(bench.signal().verdict, base::Verdict::kNone);
    EXPECT_EQ(bench.signal().reason, reason);
  }
};

}  // namespace crestgate::cell
