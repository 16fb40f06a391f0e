// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/sentence.h"

#include <algorithm>

#include "analysis/judging/acceptance.h"
#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

constexpr int kMostDecimals = 12;

int decimals_of(const std::string& text) {
  const auto point = text.find('.');
  return point == std::string::npos ? 0 : static_cast<int>(text.size() - point - 1);
}

std::string with_unit(std::string text, const std::string& unit) {
  return unit.empty() ? text : std::move(text) + " " + unit;
}

struct Pair {
  std::string value;
  std::string limit;
};

Pair written(double value, double limit, const std::string& unit) {
  const int least = unit == "um" ? 2 : 0;
  const int of_limit = decimals_of(shortest(limit));
  int decimals = std::max(of_limit + 1, least);
  while (decimals < kMostDecimals && value != limit && fixed(value, decimals) == fixed(limit, decimals)) {
    ++decimals;
  }
  return {with_unit(fixed(value, decimals), unit), with_unit(fixed(limit, std::max(of_limit, least)), unit)};
}

std::string rule_note(const base::ParameterResult& result) {
  const std::string count = std::to_string(result.values.size());
  switch (result.rule.value_or(base::AcceptanceRule::kMaximum)) {
    case base::AcceptanceRule::kMedian:
      return " (median of " + count + ")";
    case base::AcceptanceRule::kSixteenPercent:
      return " (16 % rule over " + count + ")";
    case base::AcceptanceRule::kMaximum:
      break;
  }
  return "";
}

}  // namespace

std::string sentence_about(const base::ParameterResult& result) {
  const base::Limit limit{
      .symbol = result.symbol, .unit = result.unit, .lower = result.lower, .upper = result.upper};
  bool upper = result.upper.has_value();
  if (result.verdict == base::Verdict::kReject) {
    upper = result.reason == base::Reason::kAboveUpperLimit;
  } else if (result.lower && result.upper) {
    upper = relative_margin(limit, result.decided, true) <= relative_margin(limit, result.decided, false);
  }
  const double bound = upper ? result.upper.value_or(0.0) : result.lower.value_or(0.0);
  const Pair text = written(result.decided, bound, result.unit);
  const std::string what = result.symbol + " " + text.value + rule_note(result) + " on " + result.zone;
  if (result.verdict == base::Verdict::kReject) {
    return what + (upper ? " is above its upper limit " : " is below its lower limit ") + text.limit;
  }
  return "closest to its limit: " + what + (upper ? ", at most " : ", at least ") + text.limit;
}

}  // namespace crestgate::analysis
