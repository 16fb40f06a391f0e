// SPDX-License-Identifier: Apache-2.0
#pragma once
// What can happen to the cycle, and what the cycle can ask for. Plain values: nothing here knows a port or a
// thread.

#include <cstdint>
#include <memory>
#include <optional>
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

// The ledger numbers of the descriptions in use; judgements cite them.
struct DescriptionReceipts {
  Receipt cell;
  std::vector<Receipt> plans;  // as CellDescription::plans
};

struct CellDescription;

constexpr std::int64_t kTickMs = 50;

// ---- events ----

struct PlcChanged {  // a whole snapshot of the PLC's block
  base::PlcInputs inputs;
};
struct Ticked {};  // time passed; sent every kTickMs
struct GaugeCame {
  base::GaugeIdentity identity;
  bool stylus_clear = false;
  std::uint32_t gauge = 0;  // index into CellDescription::gauges, here and below
};
struct GaugeWent {
  base::Reason reason = base::Reason::kGaugeDisconnected;
  std::string detail;
  std::uint32_t gauge = 0;
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
  std::uint32_t gauge = 0;
};
struct StylusSeenDown {  // the gauge says so unasked, as in a pulse
  std::uint32_t gauge = 0;
};
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
struct PartAnnounced {      // by a scanner or the command line: the part on the bench, or the next to come
  base::PartIdentity identity;
  std::string source;  // for people: "the scanner"
};
struct MeasureAsked {                   // by hand: the part on the bench, without a request of the PLC
  std::optional<std::uint16_t> recipe;  // absent: as the PLC's block says
  bool at_the_bench = false;            // a person says so who sees the part: no PLC watches it
};
struct ZonePlaced {  // by hand, on a bench without a PLC
  std::uint16_t zone = 0;
};
struct PartTakenAway {};  // the same
struct BypassAsked {
  std::string who;
  std::uint32_t minutes = 0;
};
struct BypassEnded {
  std::string who;
};
struct PlansOffered {  // taken up between two parts
  std::shared_ptr<const CellDescription> cell;
  DescriptionReceipts receipts;
};
struct StopAsked {};

using CycleEvent = std::variant<PlcChanged, Ticked, GaugeCame, GaugeWent, TraverseCame, TraverseFailed,
                                StylusWent, StylusSeenDown, TraverseRecorded, PartJudged, JudgementRecorded,
                                RecordingFailed, LedgerRecovered, PartAnnounced, MeasureAsked, ZonePlaced,
                                PartTakenAway, BypassAsked, BypassEnded, PlansOffered, StopAsked>;

// ---- actions ----

struct StartTraverse {
  Ticket ticket = 0;
  std::uint32_t zone_index = 0;
  double length_mm = 0.0;
  double spacing_mm = 0.0;
  double speed_mm_per_s = 0.0;
  std::uint32_t gauge = 0;
};
struct RetractStylus {
  bool abort = false;  // stop a running traverse first
  std::uint32_t gauge = 0;
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
struct PlansAdopted {  // from now on parts are judged by these
  std::shared_ptr<const CellDescription> cell;
};

using CycleAction = std::variant<StartTraverse, RetractStylus, RecordTraverse, JudgePart, RecordJudgement,
                                 RecordEvent, PlansAdopted>;

}  // namespace crestgate::cell
