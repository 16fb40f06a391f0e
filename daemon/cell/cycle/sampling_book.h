// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which parts a sampling plan asks for, from what the ledger holds of the parts before.

#include <cstdint>
#include <map>
#include <optional>
#include <string>

#include "base/judgement.h"
#include "daemon/cell/config/plan_description.h"

namespace crestgate::cell {

// Counts per plan (by its name). Rebuilt from the ledger at start: a restart gives no part a way around.
class SamplingBook {
 public:
  void note(const base::Judgement& judgement);

  // Whether the part must be measured. In doubt it must: no history, the last one got no judgement, its dress
  // count is unknown.
  [[nodiscard]] bool asks_for(const PlanDescription& plan, const base::PartIdentity& identity) const;

 private:
  struct Count {
    bool owed = true;  // nothing was judged since the last part that got no judgement
    bool rejected_before = false;
    std::uint32_t passed_over = 0;             // since the last part that was measured
    std::uint32_t accepted_since_trouble = 0;  // since the last reject or none
    std::optional<std::uint32_t> dress_count;
    std::optional<std::uint32_t> wheel;
  };
  std::map<std::string, Count> counts_;
};

}  // namespace crestgate::cell
