// SPDX-License-Identifier: Apache-2.0
#pragma once
// What forbids a judgement, in the words of the reason table.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "base/reason.h"
#include "base/result.h"

namespace crestgate::analysis {

struct Doubt {
  base::Reason reason = base::Reason::kInternalError;
  std::string detail;
};

// Purpose   the first of a trace's quality bits that makes it unusable (base::kQualityUnusable), if any. The
//           bits in `excused` are left to a closer look at the samples.
std::optional<Doubt> doubt_from_quality(std::uint32_t quality, std::uint32_t excused = 0);

// Purpose   a stylus or signal that is stuck: one and the same count over more than kStandstillShare of the
//           trace (and at least kStandstillSamples in a row), which no surface gives through an instrument
//           with noise.
// Source    our own rule; an ideal square wave of a tenth of a millimetre stays below it.
inline constexpr double kStandstillShare = 0.02;
inline constexpr std::size_t kStandstillSamples = 64;
std::optional<Doubt> doubt_from_standstill(std::span<const std::int32_t> counts);

// Purpose   the reason for a trace that could not be turned into heights (heights_from_counts).
Doubt doubt_from_counts(const base::Error& error);

// Purpose   the reason for a trace that could not be computed (TextureComputation::prepare and run).
Doubt doubt_from_computation(const base::Error& error);

}  // namespace crestgate::analysis
