// SPDX-License-Identifier: Apache-2.0
#pragma once
// What is measured on a part and which limits its numbers have to keep.

#include <cstdint>
#include <string>
#include <vector>

#include "analysis/judging/identity_bands.h"
#include "analysis/texture/texture_settings.h"
#include "base/judgement.h"
#include "base/result.h"

namespace crestgate::analysis {

struct ZonePlan {
  std::string name;
  TextureSettings settings;
  std::vector<base::Limit> limits;
  std::uint32_t traverses = 1;  // passes over this zone; each gives one value of every parameter
  IdentityBands identity = {};  // held by every traverse, or there is no judgement
  friend bool operator==(const ZonePlan&, const ZonePlan&) = default;
};

struct PartPlan {
  std::vector<ZonePlan> zones;
  friend bool operator==(const PartPlan&, const PartPlan&) = default;
};

// Purpose   what can be said about a plan before any part is there. A plan that fails can never lead to
//           accept.
// Errors    kInvalidConfig with one sentence that names the zone and what is wrong: no zone, a zone without a
//           name, without traverses or without limits, two zones of one name, impossible settings, a limit on
//           a symbol that the settings do not compute, in another unit, without a bound, with a bound that is
//           not finite, with lower above upper, a median over fewer than three values, or identity bands that
//           the settings do not measure (check_identity).
base::Outcome check_plan(const PartPlan& plan);

}  // namespace crestgate::analysis
