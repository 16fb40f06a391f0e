// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/normal_quantile.h"

#include <cmath>
#include <utility>

#include <gtest/gtest.h>

namespace crestgate::analysis {
namespace {

// scipy.special.ndtri 1.10.1; 0.975 and 0.7 also in every table.
TEST(NormalQuantile, OfKnownProbabilities) {
  const std::pair<double, double> rows[] = {{0.5, 0.0},
                                            {0.7, 0.5244005127080407},
                                            {0.92, 1.4050715603096329},
                                            {0.975, 1.959963984540054},
                                            {0.00134989803163, -3.0000000000000213},
                                            {1e-10, -6.361340902404056}};
  for (const auto& [probability, quantile] : rows) {
    EXPECT_NEAR(normal_quantile(probability), quantile, 2e-15 * std::abs(quantile)) << probability;
  }
}

// Against erfc of the mathematical library, over all three ranges of the approximation.
TEST(NormalQuantile, InvertsTheDistribution) {
  for (double exponent = -290.0; exponent < -0.31; exponent += 0.37) {
    const double probability = std::pow(10.0, exponent);
    const double x = normal_quantile(probability);
    // A relative error e of x shows up as x^2 e in the tail.
    EXPECT_NEAR(0.5 * std::erfc(-x / std::sqrt(2.0)) / probability, 1.0, 2e-15 * (2.0 + x * x)) << exponent;
  }
}

TEST(NormalQuantile, IsOddAboutOneHalf) {
  for (double p = 0.001; p < 0.5; p += 0.0137) {
    EXPECT_NEAR(normal_quantile(p), -normal_quantile(1.0 - p), 1e-13) << p;
  }
}

}  // namespace
}  // namespace crestgate::analysis
