// SPDX-License-Identifier: Apache-2.0
#pragma once
// What forbids a judgement, in the words of the reason table.

#include <cstdint>
#include <optional>
#include <string>

#include "base/reason.h"
#include "base/result.h"

namespace crestgate::analysis {

struct Doubt {
  base::Reason reason = base::Reason::kInternalError;
  std::string detail;
};

// Purpose   the first of a trace's quality bits that makes it unusable (base::kQualityUnusable), if any.
std::optional<Doubt> doubt_from_quality(std::uint32_t quality);

// Purpose   the reason for a trace that could not be turned into heights (heights_from_counts).
Doubt doubt_from_counts(const base::Error& error);

// Purpose   the reason for a trace that could not be computed (TextureComputation::prepare and run).
Doubt doubt_from_computation(const base::Error& error);

}  // namespace crestgate::analysis
