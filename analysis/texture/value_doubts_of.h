// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which doubts fall on which parameter.

#include <array>
#include <string_view>

#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/parameter_list.h"
#include "analysis/texture/parameter_value.h"
#include "analysis/texture/value_doubt.h"
#include "analysis/texture/workspace.h"

namespace crestgate::analysis {

inline constexpr std::string_view kWaveHeightSymbol = "WaveHeight";
inline constexpr std::string_view kCrownSymbol = "Crown";
inline constexpr std::string_view kCrownSkewSymbol = "CrownSkew";

// What settings and shape alone make doubtful, whatever the heights are.
DoubtSet doubts_of_settings(const Parameter& parameter, const TextureSettings& settings,
                            const EvaluationLayout& layout, const TraceShape& shape);

// What one trace makes doubtful.
class TraceDoubts {
 public:
  [[nodiscard]] DoubtSet about(const Parameter& parameter) const;

 private:
  friend TraceDoubts doubts_of_trace(const Workspace& workspace, DoubtSet of_trace);

  DoubtSet everything_;               // every number of the trace
  DoubtSet mean_line_;                // R and W
  std::array<DoubtSet, 3> elements_;  // of R, W, P
  DoubtSet waves_;
  DoubtSet crown_;
  DoubtSet beyond_a_skid_;
};

// `of_trace`  what is known of the trace as a whole: its pickup, its tip.
TraceDoubts doubts_of_trace(const Workspace& workspace, DoubtSet of_trace);

// Purpose   least and most of a value that the trace alone does not settle. WaveHeight: a wave up to the
// floor may hide,
//           and the drive may have written as much of it as it writes on a flat. Crown: the skew may have
//           added or taken off its term.
void widen(const Parameter& parameter, const Workspace& workspace, ParameterValue& value);

}  // namespace crestgate::analysis
