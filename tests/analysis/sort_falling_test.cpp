// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/sort_falling.h"

#include <algorithm>
#include <bit>
#include <cmath>
#include <functional>
#include <limits>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

void expect_sorted_as_the_library_does(const std::vector<double>& z, const char* what) {
  std::vector<double> expected = z;
  std::ranges::sort(expected, std::greater<>());
  SortWorkspace workspace;
  std::vector<double> found(z.size());
  sort_falling(z, found, workspace);
  std::vector<double> in_place = z;
  sort_falling(in_place, in_place, workspace);
  for (std::size_t i = 0; i < z.size(); ++i) {
    ASSERT_EQ(std::bit_cast<std::uint64_t>(found[i]), std::bit_cast<std::uint64_t>(expected[i]))
        << what << ", " << z.size() << " heights, place " << i;
    ASSERT_EQ(std::bit_cast<std::uint64_t>(in_place[i]), std::bit_cast<std::uint64_t>(expected[i]))
        << what << ", in place";
  }
}

const std::size_t kCounts[] = {1, 2, 3, 64, 511, 512, 513, 5000, 8000, 70000};

// No zeros of both signs among them: those are equal, and no order of them is right or wrong.
TEST(SortFalling, OfRoughnessOfEveryLength) {
  for (const std::size_t count : kCounts) {
    expect_sorted_as_the_library_does(profiles::rough(count, 0.5, 0, count), "white");
    expect_sorted_as_the_library_does(profiles::rough(count, 0.5, 20, count), "correlated");
  }
}

TEST(SortFalling, OfSmoothAndOfQuantisedWaviness) {
  for (const std::size_t count : kCounts) {
    auto z = profiles::sampled(count, 1.0 / static_cast<double>(count), [](double x) {
      return profiles::sine(x, 0.23) + 0.4 * profiles::sine(x, 0.31, 1.0);
    });
    expect_sorted_as_the_library_does(z, "smooth");
    for (double& value : z) value = 0.01 * std::round(100.0 * value) + 0.001;
    expect_sorted_as_the_library_does(z, "quantised");
  }
}

TEST(SortFalling, OfHeightsThatNoLadderSuits) {
  for (const std::size_t count : kCounts) {
    auto z = profiles::rough(count, 0.5, 3, count);
    z[count / 2] = -40.0;
    expect_sorted_as_the_library_does(z, "a spike");
    z[count / 2] = 1e9;
    expect_sorted_as_the_library_does(z, "a spike out of all proportion");
    z[0] = std::numeric_limits<double>::max();
    z[count - 1] = -std::numeric_limits<double>::max();
    expect_sorted_as_the_library_does(z, "the largest numbers");
    // Clusters as narrow as rounding, wide apart: every cluster has one rung.
    for (std::size_t i = 0; i < count; ++i) {
      z[i] = static_cast<double>(i % 1000) + 1e-9 * static_cast<double>((i * 7919) % 10007) + 1.0;
    }
    expect_sorted_as_the_library_does(z, "clusters");
    for (std::size_t i = 0; i < count; ++i) z[i] = std::exp(0.001 * static_cast<double>((i * 7919) % 100003));
    expect_sorted_as_the_library_does(z, "decades");
  }
}

TEST(SortFalling, OfEqualAndOfTinyHeights) {
  for (const std::size_t count : kCounts) {
    expect_sorted_as_the_library_does(std::vector<double>(count, -0.25), "equal");
    std::vector<double> z(count);
    for (std::size_t i = 0; i < count; ++i) {
      z[i] = static_cast<double>((i * 31) % 257) * std::numeric_limits<double>::denorm_min();
    }
    expect_sorted_as_the_library_does(z, "denormal");
    for (std::size_t i = 0; i < count; ++i) z[i] = static_cast<double>(i);
    expect_sorted_as_the_library_does(z, "rising");
    std::ranges::reverse(z);
    expect_sorted_as_the_library_does(z, "falling");
  }
}

}  // namespace
}  // namespace crestgate::analysis
