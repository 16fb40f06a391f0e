// SPDX-License-Identifier: Apache-2.0
#pragma once
// One stylus pass over one zone, as the judge takes it.

#include <cstdint>
#include <optional>
#include <span>

#include "base/identity.h"

namespace crestgate::analysis {

struct TraceInput {
  std::uint32_t zone_index = 0;  // in PartPlan::zones, from 0
  double spacing_mm = 0.0;
  double height_step_um = 0.0;
  std::span<const std::int32_t> counts;  // base::kMissingCount and base::kOverRangeCount as in base::Heights
  std::uint32_t quality = 0;             // base::QualityFlag bits
  base::Pickup pickup = base::Pickup::kUnknown;
  std::optional<double> tip_radius_um = std::nullopt;  // absent: the gauge did not say
};

}  // namespace crestgate::analysis
