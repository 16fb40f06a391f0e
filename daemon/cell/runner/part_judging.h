// SPDX-License-Identifier: Apache-2.0
#pragma once
// From recorded traverses to a decision: what live judging and replay both call.

#include <memory>
#include <span>
#include <vector>

#include "analysis/judging/part_judge.h"
#include "base/traverse.h"

namespace crestgate::cell {

// Shape    traverses of one part in any order; each is matched to its zone by zone_number.
// Method   hands the integer counts to analysis unchanged: the same counts give the same bits.
analysis::PartDecision judge_part(analysis::PartJudge& judge,
                                  std::span<const std::shared_ptr<const base::Traverse>> traverses);

}  // namespace crestgate::cell
