// SPDX-License-Identifier: Apache-2.0
#pragma once
// One parameter's values held against one limit by its acceptance rule.

#include <cstdint>
#include <span>

#include "base/judgement.h"

namespace crestgate::analysis {

constexpr std::uint32_t kFewestForMedianRule = 3;

struct Acceptance {
  base::Verdict verdict = base::Verdict::kNone;
  // kAllWithinLimits, kAboveUpperLimit, kBelowLowerLimit; with kNone: kTooFewValues or kTraceNotFinite.
  base::Reason reason = base::Reason::kNone;
  double decided = 0.0;  // the value that the rule held against the nearer (or further broken) limit
  bool decided_by_upper = true;
  double margin = 0.0;  // relative_margin of that value: negative when the limit is broken
};

// Purpose   (limit - value) / scale for an upper limit, (value - limit) / scale for a lower one. The scale is
//           the width of a two-sided limit, else the limit's own size, else 1 (a one-sided limit of 0):
//           margins of different parameters can be compared.
double relative_margin(const base::Limit& limit, double value, bool upper);

// Purpose   accept only what is shown to be inside: each side passes by "lower <= x" and "x <= upper".
// Method    kMaximum: the largest (for a lower limit the smallest) value decides. kSixteenPercent: floor(0.16
//           n) values may be beyond each limit, so the next one decides; none of fewer than 7. kMedian: the
//           median, the mean of the middle two for an even number, of at least three. Values are compared as
//           they are, never rounded.
// Source    ISO 21920-1:2021 4 (Tmax, T16%, Tmed) - from memory; the counting form of T16% is ours, the
//           standard's predecessor also knew a sequential one (ISO 4288:1996 5.2).
// Memory    reorders `values`.
Acceptance hold_against(const base::Limit& limit, std::span<double> values);

}  // namespace crestgate::analysis
