// SPDX-License-Identifier: Apache-2.0
#pragma once
// What was decided about a part, with the numbers and the reasons.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/clock.h"
#include "base/digest.h"
#include "base/identity.h"
#include "base/reason.h"

namespace crestgate::base {

enum class Verdict : std::uint8_t { kNone = 0, kAccept = 1, kReject = 2 };

// What the cell asks the line to do with the part.
enum class Fate : std::uint8_t {
  kNone = 0,
  kPass = 1,
  kRework = 2,
  kScrap = 3,
  kQuarantine = 4,
  kMeasureAgain = 5,
  kPassUnmeasured = 6,  // go on without a verdict: not sampled, or bypassed
};

// ISO 21920-1:2021 clause 4. Always written in the plan: the defaults of the editions differ.
enum class AcceptanceRule : std::uint8_t {
  kMaximum = 1,         // Tmax: every value keeps the limit
  kSixteenPercent = 2,  // T16%: at most 16 % of the values exceed it
  kMedian = 3,          // Tmed: the median of at least three values keeps it
};

// One- or two-sided limit on one parameter.
struct Limit {
  std::string symbol;  // "Ra", "Rmr(5%,1.0um)"
  std::string unit;    // "um", "%", "" for a pure number
  std::optional<double> lower;
  std::optional<double> upper;
  AcceptanceRule rule = AcceptanceRule::kMaximum;
  friend bool operator==(const Limit&, const Limit&) = default;
};

// One parameter of one zone, held against its limit (or not limited: verdict kNone, reason kNone).
struct ParameterResult {
  std::string zone;
  std::string symbol;
  std::string unit;
  // One per traverse (or per section where the parameter has sections); not a number: does not exist on that
  // trace.
  std::vector<double> values;
  double decided = 0.0;  // the value that the rule held against the limit; not a number: there is none
  std::optional<double> lower;
  std::optional<double> upper;
  std::optional<AcceptanceRule> rule;  // absent: not limited
  Verdict verdict = Verdict::kNone;
  Reason reason = Reason::kNone;
  friend bool operator==(const ParameterResult&, const ParameterResult&) = default;
};

// A record that the judgement depended on.
struct Citation {
  std::uint64_t record_number = 0;
  Digest digest;  // of the stored bytes
  friend bool operator==(const Citation&, const Citation&) = default;
};

struct Judgement {
  PartIdentity identity;
  std::uint32_t attempt = 0;
  std::string cell;
  std::string plan;
  std::uint16_t plan_stage = 0;  // the stage that the plan is for; identity.stage is what the PLC said
  std::uint32_t request_id = 0;
  std::uint64_t sequence = 0;  // counts the cell's judgements; its low 16 bits are what the PLC sees
  UtcInstant judged_utc;
  MonotonicInstant judged_monotonic;
  Verdict verdict = Verdict::kNone;
  Reason reason = Reason::kNone;
  Fate fate = Fate::kNone;
  std::string detail;                     // one plain sentence with the deciding number
  std::optional<std::uint32_t> deciding;  // index into results
  std::vector<ParameterResult> results;
  std::vector<Citation> cites;
  std::string software_version;
  Standing standing = Standing::kUnknown;
  friend bool operator==(const Judgement&, const Judgement&) = default;
};

}  // namespace crestgate::base
