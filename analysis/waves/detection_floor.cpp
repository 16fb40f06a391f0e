// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/detection_floor.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/waves/fisher_test.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// Trials between the ordinates raise the chance of an outlier about threefold.
constexpr double kPlacesPerOrdinate = 3.0;
// Ordinates that Fisher's sum may count: the level is known no better than from so many. Counting all of
// them, 79 of 5000 simulated rough faces of 5 mm with a correlation length of 0.08 mm had a wave, with 16 it
// were 21, with 12 six; of 5000 with 0.01 mm none. (The number was chosen on these faces; fresh ones are in
// the tests.) The price on 5 mm: a wave as high as 2 Rq is found in 149 of 150 faces at 0.01 mm, but in 32 of
// 150 at 0.08 mm, where the roughness itself looks like waves.
constexpr std::size_t kNoiseWorth = 12;
constexpr double kOneSided95 = 1.645;  // normal quantile

double places(const WaveNoise& noise) {
  return kPlacesPerOrdinate * std::max(1.0, static_cast<double>(noise.in_band));
}

}  // namespace

double chance_from_noise(double explained, const WaveNoise& noise) {
  const std::size_t ordinates = std::min(noise.ordinates, kNoiseWorth);
  const double sum = explained + noise.level * static_cast<double>(ordinates);
  if (ordinates < 2 || !(sum > 0.0)) return 1.0;
  return false_alarm_bound(explained / sum, ordinates, places(noise));
}

double least_significant_ordinate(const WaveNoise& noise) {
  const std::size_t ordinates = std::min(noise.ordinates, kNoiseWorth);
  if (ordinates < 2) return std::numeric_limits<double>::infinity();
  const double m = static_cast<double>(ordinates);
  return noise.level * m * (std::pow(places(noise) / kFalseAlarm, 1.0 / (m - 1.0)) - 1.0);
}

double detection_floor_um(double least_ordinate, const WaveNoise& noise, double least_gain) {
  CRESTGATE_EXPECTS(least_gain > 0.0);
  return 2.0 * (std::sqrt(least_ordinate) + kOneSided95 * std::sqrt(0.5 * noise.level)) /
         std::sqrt(least_gain);
}

}  // namespace crestgate::analysis
