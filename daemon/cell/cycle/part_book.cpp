// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/cycle/part_book.h"

#include <algorithm>

namespace crestgate::cell {

void PartBook::begin(const base::PartIdentity& identity, std::uint16_t stage, std::uint32_t attempt) {
  if (!identity.part_id) return;
  auto& highest = attempts_[{*identity.part_id, stage}];
  highest = std::max(highest, attempt);
}

void PartBook::note(const base::Traverse& traverse) {
  begin(traverse.identity, traverse.plan_stage, traverse.attempt);
}

void PartBook::note(const base::Judgement& judgement) {
  // A none may have measured nothing; its traverses, if there are any, have counted already.
  if (judgement.verdict != base::Verdict::kNone)
    begin(judgement.identity, judgement.plan_stage, judgement.attempt);
  last_sequence_ = std::max(last_sequence_, judgement.sequence);
  sampling_.note(judgement);
  if (!judgement.identity.part_id) return;
  last_[*judgement.identity.part_id] = {.part_id = *judgement.identity.part_id,
                                        .verdict = judgement.verdict,
                                        .reason = judgement.reason,
                                        .sequence = judgement.sequence};
}

std::uint32_t PartBook::attempts(const base::PartIdentity& identity, std::uint16_t stage) const {
  if (!identity.part_id) return 0;
  const auto found = attempts_.find({*identity.part_id, stage});
  return found == attempts_.end() ? 0 : found->second;
}

base::LastVerdict PartBook::last(const std::string& part_id) const {
  const auto found = last_.find(part_id);
  if (found != last_.end()) return found->second;
  return {.part_id = part_id, .verdict = base::Verdict::kNone, .reason = base::Reason::kNone, .sequence = 0};
}

}  // namespace crestgate::cell
