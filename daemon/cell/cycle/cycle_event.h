// SPDX-License-Identifier: Apache-2.0
#pragma once
// What can happen to the cycle, and what the cycle can ask for. Plain values: nothing here knows a port or a
// thread.

#include <cstdint>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "analysis/judging/part_judge.h"
#include "base/cell_signal.h"
#include "base/record.h"

namespace crestgate::cell {

// A record's place in the ledger once it is durable.
struct Receipt {
  std::uint64_t number = 0;
  base::Digest digest;
};

constexpr std::int64_t kTickMs = 50;

// ---- events ----

struct PlcChanged {  // a whole snapshot of the PLC's block
  base::PlcInputs inputs;
};
struct Ticked {};  // time passed; sent every kTickMs
struct GaugeCame {
  base::GaugeIdentity identity;
  bool stylus_clear = false;
};
struct GaugeWent {
  base::Reason reason = base::Reason::kGaugeDisconnected;
  std::string detail;
};
// An answer carries the ticket of the action it answers; an answer to an older ticket is no longer wanted.
using Ticket = std::uint32_t;
constexpr Ticket kNobodysTicket = 0;  // no part waits for the answer: events, and judgements recorded late

struct TraverseCame {  // answers StartTraverse
  Ticket ticket = 0;
  base::Heights heights;
  base::UtcInstant started_utc;
  base::MonotonicInstant started_monotonic;
  base::MonotonicInstant finished_monotonic;
};
struct TraverseFailed {  // answers StartTraverse
  Ticket ticket = 0;
  base::Reason reason = base::Reason::kGaugeFault;
  std::string detail;
};
struct StylusWent {  // answers RetractStylus; clear says whether anything may move
  bool clear = false;
  base::Reason reason = base::Reason::kNone;  // why it is not clear
  std::string detail;
};
struct StylusSeenDown {};  // the gauge says so unasked, as in a pulse
struct TraverseRecorded {  // answers RecordTraverse
  Ticket ticket = 0;
  Receipt receipt;
};
struct PartJudged {  // answers JudgePart
  Ticket ticket = 0;
  analysis::PartDecision decision;
};
struct JudgementRecorded {  // answers RecordJudgement
  Ticket ticket = 0;
  Receipt receipt;
};
struct RecordingFailed {  // answers RecordTraverse or RecordJudgement
  Ticket ticket = 0;
  base::Reason reason = base::Reason::kLedgerWriteFailed;
  std::string detail;
};
struct LedgerRecovered {};  // the ledger can be written again
struct StopAsked {};

using CycleEvent = std::variant<PlcChanged, Ticked, GaugeCame, GaugeWent, TraverseCame, TraverseFailed,
                                StylusWent, StylusSeenDown, TraverseRecorded, PartJudged, JudgementRecorded,
                                RecordingFailed, LedgerRecovered, StopAsked>;

// ---- actions ----

struct StartTraverse {
  Ticket ticket = 0;
  std::uint32_t zone_index = 0;
  double length_mm = 0.0;
  double spacing_mm = 0.0;
  double speed_mm_per_s = 0.0;
};
struct RetractStylus {
  bool abort = false;  // stop a running traverse first
};
struct RecordTraverse {
  Ticket ticket = 0;
  std::shared_ptr<const base::Traverse>
      traverse;  // shared: the cycle judges what the ledger thread is writing
};
struct JudgePart {
  Ticket ticket = 0;
  std::uint32_t plan_index = 0;  // into CellDescription::plans
  std::vector<std::shared_ptr<const base::Traverse>> traverses;
};
struct RecordJudgement {
  Ticket ticket = 0;
  base::Judgement judgement;
};
struct RecordEvent {
  base::Event event;
};

using CycleAction =
    std::variant<StartTraverse, RetractStylus, RecordTraverse, JudgePart, RecordJudgement, RecordEvent>;

}  // namespace crestgate::cell
