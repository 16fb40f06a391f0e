// SPDX-License-Identifier: Apache-2.0
#pragma once
// The cycle of one cell as an explicit state machine: events and the time go in, actions and the signal come
// out. The table and the diagram are in daemon/cell/CYCLE.md. It decides nothing about surfaces: analysis
// does.

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/cell_signal.h"
#include "base/clock.h"
#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/cycle/cycle_event.h"
#include "daemon/cell/cycle/gauge_standing.h"
#include "daemon/cell/cycle/part_book.h"

namespace crestgate::cell {

enum class Phase : std::uint8_t {
  kIdle,         // no part asked for, or none can be measured now
  kPositioning,  // waiting for a zone to stand under the stylus
  kTraversing,   // the stylus is down and moving
  kRetracting,   // between two zones: waiting for the stylus to be clear
  kSettling,     // all traverses are in, or the part has failed: waiting for the ledger
  kJudging,      // analysis is at work
  kRecording,    // the judgement is on its way to the disk
  kResult,       // the verdict is shown
  kStopped,
};

struct Now {
  base::UtcInstant utc;
  base::MonotonicInstant monotonic;
};

// While it lasts, parts are answered without being measured.
struct Bypass {
  std::string who;
  base::UtcInstant until_utc;    // for people
  base::MonotonicInstant until;  // what counts
  bool held_by_plc = false;      // ends with the PLC's bit
};

// Threads   one thread. Lifetime: `cell` outlives the cycle.
class Cycle {
 public:
  Cycle(const CellDescription& cell, DescriptionReceipts receipts, PartBook book,
        std::string software_version, Now now);

  // Purpose  takes one event and returns what has to be done, in this order.
  // Pre      now.monotonic never goes back.
  std::vector<CycleAction> handle(CycleEvent event, Now now);

  // What the outputs must show now. A green in it is earned, live and recorded.
  [[nodiscard]] base::CellSignal signal(base::MonotonicInstant now) const;

  [[nodiscard]] Phase phase() const { return phase_; }
  [[nodiscard]] bool stopped() const { return phase_ == Phase::kStopped; }
  [[nodiscard]] const std::optional<Bypass>& bypass() const { return bypass_; }
  [[nodiscard]] const CellDescription& cell() const { return *cell_; }
  [[nodiscard]] const std::vector<GaugeStanding>& gauges() const { return gauges_; }

  // Why an event that asks for something would be refused just now, in one line for whoever asks.
  [[nodiscard]] std::optional<std::string> refusal(const MeasureAsked& event) const;
  [[nodiscard]] std::optional<std::string> refusal(const BypassAsked& event) const;
  [[nodiscard]] std::optional<std::string> refusal_by_hand() const;  // of ZonePlaced, PartTakenAway

 private:
  // The part being measured, from its request to its result.
  struct Work {
    base::PlcInputs latched;                  // with what a scanner or the command line said
    base::PlcInputs said;                     // by the PLC alone; it has to stay like this
    bool by_hand = false;                     // asked for without a request
    bool watched = true;                      // the PLC tells whether the part is there
    bool undisturbed = true;                  // part and gauges stayed as they were when it was begun
    std::optional<std::uint32_t> plan_index;  // absent: the recipe is not known
    std::uint32_t attempt = 0;
    std::uint32_t zone_index = 0;
    std::uint32_t traverse_number = 0;  // of the zone, from 1
    std::uint32_t zones_done = 0;
    std::uint32_t records_pending = 0;
    std::vector<std::shared_ptr<const base::Traverse>> traverses;
    std::vector<base::Citation> cites;
    std::optional<base::Judgement> judgement;  // set when decided, shown when recorded
    base::MonotonicInstant phase_since;        // when the present phase of the work began
    std::optional<base::Reason> interrupted;   // seen while the judgement was on its way to the disk
  };

  // What a scanner or the command line said of a part.
  struct Announced {
    PartAnnounced said;
    base::MonotonicInstant at;
    bool used = false;  // a measurement was begun under it
  };

  // A measurement that was aborted, while its part stays on the bench.
  struct Resumable {
    Work work;
    base::MonotonicInstant since;
  };

  // What is shown in phase kResult.
  struct Shown {
    base::Judgement judgement;
    std::uint64_t record = 0;  // 0: it could not be recorded, and then it is never an accept
    base::MonotonicInstant since;
    bool acknowledged = false;
    std::uint16_t acknowledge_before = 0;  // what stood in the register when it was shown: no answer to it
  };

  void on(const PlcChanged& event);
  void on(const Ticked& event);
  void on(const GaugeCame& event);
  void on(const GaugeWent& event);
  void on(TraverseCame& event);
  void on(const TraverseFailed& event);
  void on(const StylusWent& event);
  void on(const StylusSeenDown& event);
  void on(const TraverseRecorded& event);
  void on(const PartJudged& event);
  void on(const JudgementRecorded& event);
  void on(const RecordingFailed& event);
  void on(const LedgerRecovered& event);
  void on(const PartAnnounced& event);
  void on(const MeasureAsked& event);
  void on(const ZonePlaced& event);
  void on(const PartTakenAway& event);
  void on(const BypassAsked& event);
  void on(const BypassEnded& event);
  void on(PlansOffered& event);
  void on(const StopAsked& event);

  void step();  // conditions that depend on levels and time
  void step_due();
  void step_ledger_deadline();
  void step_idle();
  void step_recording();
  void step_deadlines();
  void step_measuring();
  void step_result();
  void step_bypass();
  void step_gauges();
  void begin(bool by_hand);
  void begin_part();
  void pass_over(base::Reason reason, const std::string& detail);
  void begin_by_hand(const MeasureAsked& event);
  [[nodiscard]] std::optional<std::string> merge_announced();
  void refuse_name(const PartAnnounced& event, const std::string& why);
  void part_left();
  [[nodiscard]] bool resume();
  void keep_for_resuming();
  void forget_resumable();
  void adopt_plans();
  void begin_bypass(const BypassAsked& event, bool held_by_plc);
  void end_bypass(const std::string& why);
  void want_zone();
  void start_traverse();
  void zone_finished();
  void retract(std::uint32_t gauge, bool abort);
  void fail(base::Reason reason, const std::string& detail = "");
  void decide(base::Verdict verdict, base::Reason reason, base::Fate fate, std::string detail);
  void record_judgement();
  void show(std::uint64_t record);
  void show_unrecorded(base::Reason reason, const std::string& detail);
  void withdraw(base::Reason reason);
  void ledger_answered();
  void note(std::string what, base::Reason reason, std::string detail);

  [[nodiscard]] bool plc_silent(base::MonotonicInstant now) const;
  void interrupt();
  [[nodiscard]] std::optional<base::Reason> interruption() const;
  [[nodiscard]] base::Reason blocked_by() const;                 // kNone: a part can be measured
  [[nodiscard]] base::Fate fate_for(base::Reason reason) const;  // of a part without a judgement
  [[nodiscard]] const PlanDescription* plan() const;
  [[nodiscard]] std::uint32_t gauge_in_use() const;          // of the zone in work
  [[nodiscard]] const GaugeStanding* missing_gauge() const;  // the first that is offline, or nothing
  [[nodiscard]] bool stylus_clear() const;                   // of every gauge
  [[nodiscard]] bool part_present() const;
  [[nodiscard]] std::uint16_t zone_in_position() const;
  [[nodiscard]] std::uint32_t traverses_of_zone() const;  // that are in, of the zone in work
  void enter(Phase phase);
  [[nodiscard]] bool result_stands(base::MonotonicInstant now) const;
  void show_idle(base::CellSignal& signal) const;
  void show_work(base::CellSignal& signal) const;
  void show_result(base::CellSignal& signal, base::MonotonicInstant now) const;

  const CellDescription* cell_;
  std::shared_ptr<const CellDescription> adopted_;  // keeps *cell_ once plans were exchanged
  std::optional<PlansOffered> offered_;
  DescriptionReceipts receipts_;
  PartBook book_;
  std::string software_version_;

  Now now_;
  Phase phase_ = Phase::kIdle;
  std::vector<CycleAction> actions_;
  Ticket ticket_ = 0;
  Work work_;
  std::optional<Shown> shown_;
  std::uint64_t sequence_ = 0;
  std::deque<base::Judgement> owed_;  // shown as none while the ledger failed; recorded as soon as it can be

  base::PlcInputs plc_;
  std::uint16_t last_request_ = 0;
  std::optional<base::MonotonicInstant> plc_heard_;  // absent: never yet
  std::vector<GaugeStanding> gauges_;
  std::optional<Announced> announced_;
  std::optional<Resumable> resumable_;
  std::optional<Bypass> bypass_;
  bool present_by_hand_ = false;
  std::uint16_t zone_by_hand_ = 0;
  bool ledger_healthy_ = true;
  base::Reason ledger_reason_ = base::Reason::kNone;
  std::optional<base::MonotonicInstant> ledger_waited_since_;
  bool stopping_ = false;
  base::Reason withdrawn_for_ = base::Reason::kNone;
  std::uint16_t warnings_ = 0;
  std::uint16_t heartbeat_ = 0;
  base::MonotonicInstant heartbeat_moved_;
};

}  // namespace crestgate::cell
