// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/trace_check.h"

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

std::optional<Doubt> doubt_from_quality(std::uint32_t quality) {
  for (const QualityReason& entry : kQualityReasons) {
    if ((quality & entry.flag) != 0)
      return Doubt{entry.reason, std::string(base::text_of(entry.reason).sentence)};
  }
  return std::nullopt;
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
