// SPDX-License-Identifier: Apache-2.0
#pragma once
// One stylus pass: the heights and everything needed to understand them in twenty years.

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/digest.h"
#include "base/identity.h"

namespace crestgate::base {

// Heights are integer multiples of height_step_um. Two counts are reserved and never a height.
constexpr std::int32_t kMissingCount = std::numeric_limits<std::int32_t>::min();  // no sample at this place
constexpr std::int32_t kOverRangeCount =
    std::numeric_limits<std::int32_t>::max();  // the pickup was at its end stop

// What the gauge or the driver noticed about a pass. Bits, so that several can hold.
enum QualityFlag : std::uint32_t {
  kQualityOverRange = 1U << 0U,      // at least one sample is kOverRangeCount
  kQualityMissing = 1U << 1U,        // at least one sample is kMissingCount
  kQualityStylusLifted = 1U << 2U,   // the gauge says that the stylus lost contact
  kQualitySpeedUnsteady = 1U << 3U,  // the drive left its speed tolerance
  kQualityResent = 1U << 4U,         // some chunks had to be asked for again (data are whole)
  kQualityVibration = 1U << 5U,      // the gauge's own vibration monitor tripped
};
// With one of these the heights are not a surface: no judgement.
constexpr std::uint32_t kQualityUnusable =
    kQualityOverRange | kQualityMissing | kQualityStylusLifted | kQualitySpeedUnsteady | kQualityVibration;

// The heights of one pass as a gauge hands them over.
struct Heights {
  double spacing_mm = 0.0;      // between neighbouring samples
  double height_step_um = 0.0;  // one count
  double speed_mm_per_s = 0.0;
  std::uint32_t quality = 0;  // QualityFlag bits
  std::vector<std::int32_t> counts;
  friend bool operator==(const Heights&, const Heights&) = default;
};

struct Traverse {
  PartIdentity identity;
  std::uint32_t attempt = 0;  // n-th time this part was brought to this stage's measurement, from 1
  std::string cell;
  std::string plan;
  std::uint16_t plan_stage = 0;  // the stage that the plan is for; identity.stage is what the PLC said
  std::string zone;
  std::uint32_t zone_number = 0;      // from 1, order of the plan
  std::uint32_t traverse_number = 0;  // from 1, within the zone
  std::uint32_t request_id = 0;       // the PLC request this pass answers
  std::optional<double> position_mm;  // where on the zone the pass lies, along the plan's own axis
  GaugeIdentity gauge;
  Standing standing = Standing::kUnknown;
  UtcInstant started_utc;
  MonotonicInstant started_monotonic;
  MonotonicInstant finished_monotonic;  // the last sample had arrived
  Heights heights;
  Digest plan_digest;  // of the Document records this pass depended on
  Digest cell_digest;
  friend bool operator==(const Traverse&, const Traverse&) = default;
};

}  // namespace crestgate::base
