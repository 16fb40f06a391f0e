// SPDX-License-Identifier: Apache-2.0
#pragma once
// plan.toml: what is measured on a part at a stage, and what it is held against.

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/judging/part_judge.h"
#include "base/judgement.h"
#include "base/record.h"
#include "base/result.h"

namespace crestgate::cell {

// Which parts are measured at all. The parts between are recorded as not sampled, and are never green.
struct SamplingPlan {
  std::uint32_t every = 1;         // every n-th part
  bool after_dress = true;         // the first part after a dress, and any whose dress count is unknown
  std::uint32_t after_reject = 0;  // so many parts after a reject, or after a part that got no judgement
};

// How one zone is traversed. Its texture settings and limits are in PlanDescription::part at the same index.
struct ZoneTraverse {
  double face_length_mm = 0.0;
  double length_mm = 0.0;
  double spacing_mm = 0.0;
  double speed_mm_per_s = 0.0;
  std::string gauge{};  // its name in the cell; empty: the cell's first
};

struct PlanDescription {
  std::string name;
  std::string part;  // what kind of part, for people
  std::uint16_t stage_number = 0;
  std::string stage_name;
  bool part_id_required = true;
  std::uint32_t attempts_allowed = 1;
  base::Fate on_reject = base::Fate::kQuarantine;
  base::Fate on_none = base::Fate::kMeasureAgain;
  SamplingPlan sampling;
  base::Fate on_not_sampled = base::Fate::kPassUnmeasured;
  std::vector<ZoneTraverse> traverses;  // one per zone
  analysis::PartPlan part_plan;         // one zone per entry of `traverses`
  base::Document document;              // the file as it was read; recorded before first use
};

// Purpose  reads and checks a plan; `source` names the file in complaints.
// Errors   kInvalidConfig, one line with file and line: unknown key, wrong kind, out of range, wrong unit,
//          duplicate zone, a traverse longer than the face, settings that do not fit the traverse, limits
//          without a bound.
base::Result<PlanDescription> read_plan(std::string_view text, const std::string& source);

// The fate that the plan gives to a verdict.
base::Fate fate_of(const PlanDescription& plan, base::Verdict verdict);

}  // namespace crestgate::cell
