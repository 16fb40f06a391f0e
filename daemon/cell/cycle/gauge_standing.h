// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the cycle knows of one gauge: whether it is there, and where its stylus is.

#include <memory>
#include <optional>
#include <string>

#include "base/clock.h"
#include "base/identity.h"
#include "base/reason.h"
#include "base/traverse.h"

namespace crestgate::cell {

struct GaugeStanding {
  std::optional<base::GaugeIdentity> identity;  // absent: offline
  base::Reason offline_reason = base::Reason::kStarting;
  std::string offline_detail;
  bool stylus_clear = false;
  bool retract_pending = false;
  bool retract_failed = false;
  base::MonotonicInstant retract_tried;
  std::shared_ptr<const base::Traverse> last_traverse;  // of whatever part it was
};

}  // namespace crestgate::cell
