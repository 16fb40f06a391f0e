// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/acceptance.h"

#include <algorithm>
#include <cmath>
#include <functional>

#include "analysis/statistics/moments.h"

namespace crestgate::analysis {
namespace {

// floor(0.16 n) in whole numbers: 0.16 has no exact binary form.
std::size_t allowed_beyond(std::size_t count) { return count * 16 / 100; }

// The value that decides at one side. `values` holds enough finite values.
double deciding_value(base::AcceptanceRule rule, std::span<double> values, bool upper) {
  switch (rule) {
    case base::AcceptanceRule::kMedian:
      return median_of(values);
    case base::AcceptanceRule::kSixteenPercent: {
      const auto place = values.begin() + static_cast<std::ptrdiff_t>(allowed_beyond(values.size()));
      if (upper) {
        std::ranges::nth_element(values, place, std::greater<>());
      } else {
        std::ranges::nth_element(values, place);
      }
      return *place;
    }
    case base::AcceptanceRule::kMaximum:
      break;
  }
  return upper ? *std::ranges::max_element(values) : *std::ranges::min_element(values);
}

}  // namespace

double relative_margin(const base::Limit& limit, double value, bool upper) {
  double scale = 0.0;
  if (limit.lower && limit.upper) scale = *limit.upper - *limit.lower;
  if (!(scale > 0.0)) scale = std::abs(upper ? limit.upper.value_or(0.0) : limit.lower.value_or(0.0));
  if (!(scale > 0.0)) scale = 1.0;
  return upper ? (limit.upper.value_or(0.0) - value) / scale : (value - limit.lower.value_or(0.0)) / scale;
}

Acceptance hold_against(const base::Limit& limit, std::span<double> values) {
  Acceptance found;
  if (!std::ranges::all_of(values, [](double value) { return std::isfinite(value); })) {
    found.reason = base::Reason::kTraceNotFinite;
    return found;
  }
  const std::size_t fewest = limit.rule == base::AcceptanceRule::kMedian ? kFewestForMedianRule : 1;
  if (values.size() < fewest || (!limit.lower && !limit.upper)) {
    found.reason = base::Reason::kTooFewValues;
    return found;
  }
  bool kept = true;
  bool first = true;
  for (const bool upper : {true, false}) {
    if (upper ? !limit.upper : !limit.lower) continue;
    const double value = deciding_value(limit.rule, values, upper);
    const double margin = relative_margin(limit, value, upper);
    const bool side_kept = upper ? value <= *limit.upper : *limit.lower <= value;
    kept = kept && side_kept;
    if (first || margin < found.margin) {
      found.decided = value;
      found.decided_by_upper = upper;
      found.margin = margin;
    }
    first = false;
  }
  found.verdict = kept ? base::Verdict::kAccept : base::Verdict::kReject;
  found.reason = kept                     ? base::Reason::kAllWithinLimits
                 : found.decided_by_upper ? base::Reason::kAboveUpperLimit
                                          : base::Reason::kBelowLowerLimit;
  return found;
}

}  // namespace crestgate::analysis
