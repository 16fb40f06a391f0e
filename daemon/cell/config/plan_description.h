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
#include "daemon/cell/config/document.h"

namespace crestgate::cell {

// How one zone is traversed. Its texture settings and limits are in PlanDescription::part at the same index.
struct ZoneTraverse {
  double face_length_mm = 0.0;
  double length_mm = 0.0;
  double spacing_mm = 0.0;
  double speed_mm_per_s = 0.0;
  std::string gauge = {};  // that measures this zone; empty: the cell's first one
  friend bool operator==(const ZoneTraverse&, const ZoneTraverse&) = default;
};

// Which parts are measured. Every one that is not is told so, never green.
struct SamplingPlan {
  std::uint32_t every = 1;  // every n-th part; 1: all of them
  // The first part after the wheel was dressed is measured, and every part while the dress count is unknown.
  bool after_dress = true;
  std::uint32_t after_reject = 0;  // so many parts after a reject or a none are all measured
  friend bool operator==(const SamplingPlan&, const SamplingPlan&) = default;
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
  base::Fate on_not_sampled = base::Fate::kQuarantine;  // of a part that the sampling passes over
  std::vector<ZoneTraverse> traverses;                  // one per zone
  analysis::PartPlan part_plan;                         // one zone per entry of `traverses`
  // The plan's own file and its family's, without folders; empty: the plan needs no other file.
  std::vector<std::string> made_of;
  base::Document document;  // the whole plan, recorded before first use; reading it again gives this plan
  friend bool operator==(const PlanDescription&, const PlanDescription&) = default;
};

// Purpose  reads and checks a plan. One that says `family = "FILE"` is read together with that file, which
//          lies in its folder unless a path says otherwise (plan_family.h says how they make one plan).
// Shape    document.content: the bytes of `text`; with a family the plan that both make, written out, with
//          the digests of both files at its head.
// Pre      `source` is the path of the plan, or its name in complaints.
// Errors   kInvalidConfig, one line with file and line: unknown key, wrong kind, out of range, wrong unit,
//          duplicate zone, a traverse longer than the face, settings that do not fit the traverse, limits
//          without a bound, a family that cannot be read.
base::Result<PlanDescription> read_plan(std::string_view text, const std::string& source);

// The same for a plan that is complete in itself, such as the document of a ledger: opens no file, and
// `family` is refused.
base::Result<PlanDescription> read_complete_plan(std::string_view text, const std::string& source);

// The same for a plan and its family, both at hand: opens no file.
base::Result<PlanDescription> read_plan_with_family(const SourceText& plan, const SourceText& family);

// The fate that the plan gives to a verdict.
base::Fate fate_of(const PlanDescription& plan, base::Verdict verdict);

}  // namespace crestgate::cell
