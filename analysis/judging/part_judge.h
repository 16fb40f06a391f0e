// SPDX-License-Identifier: Apache-2.0
#pragma once
// The one function that decides about a part. Live judging, replay, reports and the command line all call it.

#include <cstddef>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/judging/part_plan.h"
#include "analysis/judging/trace_input.h"
#include "base/judgement.h"

namespace crestgate::analysis {

struct PartDecision {
  base::Verdict verdict = base::Verdict::kNone;
  base::Reason reason = base::Reason::kInternalError;
  // What follows if nobody says otherwise: accept kPass, reject kQuarantine, none kMeasureAgain.
  base::Fate fate = base::Fate::kMeasureAgain;
  std::string detail;  // one plain sentence: the number, its limit, unit and zone, or what was in doubt
  // The result nearest to its limit (accept) or furthest beyond it (reject), by relative_margin in
  // acceptance.h; the first on a tie. With kNone: the result in doubt, if one result is.
  std::optional<std::uint32_t> deciding;
  // By zone and, within it, in the order of parameter_names: the routine numbers and all that a limit names;
  // a parameter with several limits stands once per limit. values: one per usable traverse, or per section of
  // them where the parameter is taken in sections; NaN where it does not exist on that trace. Without a limit
  // decided is the mean of the values, or NaN when one of them does not exist or there are none.
  std::vector<base::ParameterResult> results;
};

// Purpose   accept, reject or none for one part.
// Method    kNone on any doubt: a plan that check_plan refuses, a trace of no zone, a wrong number of
//           traverses, missing or over-range samples (more than the settings let be bridged), an unusable
//           quality flag, a spacing or length that does not suit the settings, a number that is not finite, a
//           limited parameter that does not exist on a trace or cannot be trusted on it (value_doubt.h), a
//           limit on waves or form with a skidded pickup, too few values for a rule. Doubt outweighs a broken
//           limit. Otherwise kReject if any limit is broken, and kAccept only if every limit was held and
//           kept. Where the true value may lie on either side of a limit (waves under the roughness, the
//           drive's own waves, a crown faked by a skew) that limit neither accepts nor rejects, so the part
//           is rejected for another limit or not judged. A face that does not fit the identity bands of its
//           zone is another part's: kNone with kNotThisPart for the whole part, never a reject. The reason
//           is the first of these that there is: with a strange face the first trace that cannot be used,
//           then the first strange face; else the first doubt in the order of zones and traverses.
// Errors    none: judge never fails.
// Memory    keeps what it prepared for each shape of trace (up to 64) and its workspace from part to part.
//           The decision itself is allocated; the texture computation inside allocates nothing for a shape
//           seen before.
// Threads   one PartJudge per thread.
class PartJudge {
 public:
  explicit PartJudge(PartPlan plan);
  ~PartJudge();
  PartJudge(PartJudge&&) noexcept;
  PartJudge& operator=(PartJudge&&) noexcept;
  PartJudge(const PartJudge&) = delete;
  PartJudge& operator=(const PartJudge&) = delete;

  PartDecision judge(std::span<const TraceInput> traces);

  [[nodiscard]] const PartPlan& plan() const;

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace crestgate::analysis
