// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/part_judging.h"

namespace crestgate::cell {

analysis::PartDecision judge_part(analysis::PartJudge& judge,
                                  std::span<const std::shared_ptr<const base::Traverse>> traverses) {
  std::vector<analysis::TraceInput> inputs;
  inputs.reserve(traverses.size());
  for (const auto& traverse : traverses) {
    inputs.push_back({.zone_index = traverse->zone_number - 1,
                      .spacing_mm = traverse->heights.spacing_mm,
                      .height_step_um = traverse->heights.height_step_um,
                      .counts = traverse->heights.counts,
                      .quality = traverse->heights.quality,
                      .pickup = traverse->gauge.pickup,
                      .tip_radius_um = traverse->gauge.tip_radius_um});
  }
  return judge.judge(inputs);
}

}  // namespace crestgate::cell
