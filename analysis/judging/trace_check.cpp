// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/trace_check.h"

#include <algorithm>
#include <array>

#include "base/traverse.h"

namespace crestgate::analysis {
namespace {

struct QualityReason {
  base::QualityFlag flag;
  base::Reason reason;
};

constexpr std::array kQualityReasons = {
    QualityReason{base::kQualityMissing, base::Reason::kTraceMissingSamples},
    QualityReason{base::kQualityOverRange, base::Reason::kTraceOverRange},
    QualityReason{base::kQualityStylusLifted, base::Reason::kStylusLifted},
    QualityReason{base::kQualitySpeedUnsteady, base::Reason::kSpeedUnsteady},
    QualityReason{base::kQualityVibration, base::Reason::kVibration},
};

constexpr std::uint32_t handled_flags() {
  std::uint32_t flags = 0;
  for (const QualityReason& entry : kQualityReasons) flags |= entry.flag;
  return flags;
}
static_assert(handled_flags() == base::kQualityUnusable,
              "every flag that forbids a judgement needs its reason");

}  // namespace

std::optional<Doubt> doubt_from_quality(std::uint32_t quality, std::uint32_t excused) {
  for (const QualityReason& entry : kQualityReasons) {
    if ((quality & ~excused & entry.flag) != 0)
      return Doubt{entry.reason, std::string(base::text_of(entry.reason).sentence)};
  }
  return std::nullopt;
}

std::optional<Doubt> doubt_from_standstill(std::span<const std::int32_t> counts) {
  std::size_t longest = 0;
  std::size_t run = 0;
  std::size_t end = 0;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    const bool is_height = counts[i] != base::kMissingCount && counts[i] != base::kOverRangeCount;
    run = (i > 0 && is_height && counts[i] == counts[i - 1]) ? run + 1 : 1;
    if (run > longest) {
      longest = run;
      end = i + 1;
    }
  }
  const auto share =
      static_cast<double>(longest) / static_cast<double>(std::max<std::size_t>(counts.size(), 1));
  if (longest < kStandstillSamples || share <= kStandstillShare) return std::nullopt;
  return Doubt{base::Reason::kStylusStuck, std::string(base::text_of(base::Reason::kStylusStuck).sentence) +
                                               ", over " + std::to_string(longest) + " samples from sample " +
                                               std::to_string(end - longest) + " on"};
}

Doubt doubt_from_counts(const base::Error& error) {
  switch (error.code) {
    case base::ErrorCode::kNoData:
      return {base::Reason::kTraceMissingSamples, error.detail};
    case base::ErrorCode::kOutOfRange:
      return {base::Reason::kTraceOverRange, error.detail};
    default:
      return {base::Reason::kTraceNotFinite, error.detail};
  }
}

Doubt doubt_from_computation(const base::Error& error) {
  switch (error.code) {
    case base::ErrorCode::kTooShort:
      return {base::Reason::kTraceTooShort, error.detail};
    case base::ErrorCode::kOutOfRange:
      return {base::Reason::kTraceWrongSpacing, error.detail};
    case base::ErrorCode::kNotFinite:
      return {base::Reason::kTraceNotFinite, error.detail};
    case base::ErrorCode::kNotConverged:
      return {base::Reason::kParameterUndefined, error.detail};
    default:
      return {base::Reason::kInternalError, error.detail};
  }
}

}  // namespace crestgate::analysis
