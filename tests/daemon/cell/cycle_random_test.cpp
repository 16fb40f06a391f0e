// SPDX-License-Identifier: Apache-2.0
// Thousands of steps of parts, faults, PLC actions and restarts in an order nobody would write. A small
// model, which knows nothing of phases, says when green is allowed and when the stylus may be called clear;
// and after any history the cell must accept a good part once everything is well again.

#include <cstdint>
#include <cstdlib>
#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/random_world.h"

namespace crestgate::cell {
namespace {

constexpr int kSteps = 20000;
constexpr int kSeeds = 20;

TEST(CycleAtRandom, GreenOnlyWhenTheModelAllowsItAndAlwaysAgainWhenAllIsWell) {
  const char* wish = std::getenv("CRESTGATE_SEED");  // NOLINT(concurrency-mt-unsafe): no other thread
  const std::uint64_t first = wish == nullptr ? 1 : std::strtoull(wish, nullptr, 10);
  int greens = 0;
  int resumed = 0;
  for (std::uint64_t seed = first; seed < first + kSeeds; ++seed) {
    SCOPED_TRACE("CRESTGATE_SEED=" + std::to_string(seed));
    RandomWorld world(seed);
    for (int step = 1; step <= kSteps; ++step) {
      world.step(10 * step);
      if (::testing::Test::HasFatalFailure()) return;
    }
    world.heal_and_measure("ES-HEALED");
    if (::testing::Test::HasFailure()) return;
    greens += world.greens();
    resumed += world.resumed();
  }
  EXPECT_GT(greens, 1000) << "a test in which nothing turns green proves nothing";
  EXPECT_GT(resumed, 100) << "and so with what is resumed";
}

}  // namespace
}  // namespace crestgate::cell
