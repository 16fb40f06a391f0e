// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/cycle/sampling_book.h"

namespace crestgate::cell {

void SamplingBook::note(const base::Judgement& judgement) {
  if (judgement.plan.empty()) return;
  Count& count = counts_[judgement.plan];
  if (judgement.reason == base::Reason::kBypassed) {  // whatever happened then, a dress say, was not seen
    count.owed = true;
    return;
  }
  count.dress_count = judgement.identity.dress_count;
  count.wheel = judgement.identity.wheel;
  if (judgement.reason == base::Reason::kNotSampled) {
    ++count.passed_over;
    return;
  }
  if (judgement.verdict == base::Verdict::kAccept) {
    count.owed = false;
    count.passed_over = 0;
    ++count.accepted_since_trouble;
    return;
  }
  count.owed = judgement.verdict == base::Verdict::kNone;
  if (!count.owed) count.passed_over = 0;
  count.rejected_before = true;
  count.accepted_since_trouble = 0;
}

bool SamplingBook::asks_for(const PlanDescription& plan, const base::PartIdentity& identity) const {
  const SamplingPlan& sampling = plan.sampling;
  if (sampling.every <= 1) return true;
  const auto found = counts_.find(plan.name);
  if (found == counts_.end() || found->second.owed) return true;
  const Count& count = found->second;
  if (count.passed_over + 1 >= sampling.every) return true;
  if (count.rejected_before && count.accepted_since_trouble < sampling.after_reject) return true;
  if (!sampling.after_dress) return false;
  // Parts since the dress are counted upwards: a number that did not grow has begun anew.
  const bool known = identity.dress_count && count.dress_count;
  return !known || *identity.dress_count <= *count.dress_count || identity.wheel != count.wheel;
}

}  // namespace crestgate::cell
