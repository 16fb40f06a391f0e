// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which doubts fall on which parameter.

#include <array>
#include <optional>

#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/parameter_list.h"
#include "analysis/texture/value_doubt.h"
#include "analysis/texture/workspace.h"
#include "base/identity.h"

namespace crestgate::analysis {

// What settings and shape alone make doubtful, whatever the heights are.
DoubtSet doubts_of_settings(const Parameter& parameter, const TextureSettings& settings,
                            const EvaluationLayout& layout, const TraceShape& shape);

// What traced it, as far as it said.
struct GaugeConditions {
  base::Pickup pickup = base::Pickup::kUnknown;
  std::optional<double> tip_radius_um = std::nullopt;
};

// What the gauge makes doubtful: the skid, and a tip rounder than the setting class allows.
DoubtSet doubts_of_gauge(const GaugeConditions& gauge, const TextureSettings& settings);

// What one trace makes doubtful.
class TraceDoubts {
 public:
  [[nodiscard]] DoubtSet about(const Parameter& parameter) const;

 private:
  friend TraceDoubts doubts_of_trace(const Workspace& workspace, DoubtSet of_gauge);

  DoubtSet everything_;               // every number of the trace
  DoubtSet mean_line_;                // R and W
  std::array<DoubtSet, 3> elements_;  // of R, W, P
  DoubtSet waves_;
  DoubtSet skewed_;  // the crown
  DoubtSet beyond_a_skid_;
};

// `of_gauge`  as doubts_of_gauge gives them.
TraceDoubts doubts_of_trace(const Workspace& workspace, DoubtSet of_gauge);

}  // namespace crestgate::analysis
