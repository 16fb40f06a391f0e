// SPDX-License-Identifier: Apache-2.0
// What depends on levels and on time: what is due, what blocks, what still stands.

#include <algorithm>
#include <utility>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/cycle/phase_time.h"

namespace crestgate::cell {
namespace {

using base::Reason;
using base::Verdict;

constexpr std::int64_t kLedgerLimitMs = 5000;      // a disk that syncs slower than this is not one to rely on
constexpr std::int64_t kAnalysisLimitMs = 20'000;  // a hundred times what the largest plan needs
constexpr std::int64_t kRetractLimitMs = 20'000;
constexpr double kTraverseLimitFactor = 4.0;       // of the time that length and speed let expect
constexpr std::int64_t kTraverseLimitMs = 30'000;  // beside it: lowering, resending
constexpr std::int64_t kRetractAgainMs = 2000;  // a stylus that did not come clear is asked again this often

}  // namespace

void Cycle::step() {
  if (phase_ == Phase::kStopped) return;
  step_bypass();
  step_gauges();
  if (plc_silent(now_.monotonic)) forget_resumable();  // nobody knows what became of the part meanwhile
  if (is_measuring(phase_)) step_measuring();
  step_due();
  if (phase_ == Phase::kIdle) step_idle();
}

// A stylus that did not come clear is asked again.
void Cycle::step_gauges() {
  for (std::uint32_t i = 0; i < gauges_.size(); ++i) {
    const GaugeStanding& gauge = gauges_[i];
    const bool at_work = phase_ == Phase::kTraversing && i == gauge_in_use();
    if (!gauge.identity || gauge.stylus_clear || gauge.retract_pending || at_work) continue;
    if (elapsed_ms(gauge.retract_tried, now_.monotonic) >= kRetractAgainMs) retract(i, false);
  }
}

// Only what ends something: nothing is begun before the event is known.
void Cycle::step_due() {
  if (is_measuring(phase_) && !work_.judgement) interrupt();
  if (is_measuring(phase_)) step_deadlines();
  if (phase_ == Phase::kRecording) step_recording();
  step_ledger_deadline();
  if (phase_ == Phase::kResult) step_result();
}

void Cycle::step_ledger_deadline() {
  const bool waiting =
      phase_ == Phase::kRecording || (phase_ == Phase::kSettling && work_.records_pending > 0);
  if (!waiting) {
    ledger_waited_since_.reset();
    return;
  }
  if (!ledger_waited_since_) ledger_waited_since_ = now_.monotonic;
  if (elapsed_ms(*ledger_waited_since_, now_.monotonic) <= kLedgerLimitMs) return;
  ledger_healthy_ = false;
  ledger_reason_ = Reason::kLedgerSlow;
  ledger_waited_since_.reset();
  show_unrecorded(Reason::kLedgerSlow, "no answer for " + std::to_string(kLedgerLimitMs / 1000) + " s");
}

void Cycle::step_idle() {
  if (stopping_) {
    bool retracting = false;
    for (const GaugeStanding& gauge : gauges_) retracting = retracting || gauge.retract_pending;
    if (!retracting) phase_ = Phase::kStopped;
    return;
  }
  adopt_plans();
  if (plc_.request_id == 0) last_request_ = 0;
  if (withdrawn_for_ == Reason::kPlcSilent && !plc_silent(now_.monotonic)) withdrawn_for_ = Reason::kNone;
  const bool asked = plc_.request_id != 0 && plc_.request_id != last_request_;
  if (!asked || blocked_by() != Reason::kNone) return;
  begin(false);
  begin_part();
}

void Cycle::step_measuring() {
  if (!work_.judgement) interrupt();
  if (phase_ == Phase::kPositioning) {
    if (zone_in_position() == work_.zone_index + 1 && stylus_clear()) {
      work_.traverse_number = traverses_of_zone() + 1;
      start_traverse();
    } else if (elapsed_ms(work_.phase_since, now_.monotonic) > cell_->timing.zone_timeout_ms) {
      fail(Reason::kZoneNotInPosition, "zone " + std::to_string(work_.zone_index + 1) + " was wanted for " +
                                           std::to_string(cell_->timing.zone_timeout_ms / 1000) + " s");
    }
  } else if (phase_ == Phase::kRetracting && stylus_clear()) {
    ++work_.zone_index;
    want_zone();
    step_measuring();
  } else if (phase_ == Phase::kSettling && work_.records_pending == 0) {
    if (work_.judgement) {
      record_judgement();
    } else {
      enter(Phase::kJudging);
      actions_.emplace_back(JudgePart{ticket_, *work_.plan_index, work_.traverses});
    }
  }
}

// Nothing that was asked for may keep the cell waiting for ever.
void Cycle::step_deadlines() {
  const std::int64_t waited_ms = elapsed_ms(work_.phase_since, now_.monotonic);
  if (phase_ == Phase::kTraversing) {
    const ZoneTraverse& traverse = plan()->traverses[work_.zone_index];
    const double expected_ms = 1000.0 * traverse.length_mm / traverse.speed_mm_per_s;
    const auto limit_ms = static_cast<std::int64_t>(kTraverseLimitFactor * expected_ms) + kTraverseLimitMs;
    if (waited_ms > limit_ms)
      fail(Reason::kGaugeSilent, "the traverse did not end in " + std::to_string(limit_ms / 1000) + " s");
  } else if (phase_ == Phase::kRetracting && waited_ms > kRetractLimitMs) {
    fail(Reason::kGaugeSilent,
         "the stylus was not clear after " + std::to_string(kRetractLimitMs / 1000) + " s");
  } else if (phase_ == Phase::kJudging && waited_ms > kAnalysisLimitMs) {
    fail(Reason::kInternalError,
         "analysis gave no answer for " + std::to_string(kAnalysisLimitMs / 1000) + " s");
  }
}

// Too late to change the judgement, not too late to keep it from being shown over another part: what happened
// and went away again while the disk was busy still counts.
void Cycle::step_recording() {
  if (!work_.interrupted) work_.interrupted = interruption();
}

void Cycle::interrupt() {
  const auto reason = interruption();
  if (!reason) return;
  // A number that comes while a part is in work is refused, not queued: it has to go back to 0 first.
  if (*reason == Reason::kRequestWhileBusy) last_request_ = plc_.request_id;
  fail(*reason);
}

// Why the part in work cannot be finished any more, by the levels of the PLC's block.
std::optional<Reason> Cycle::interruption() const {
  if (plc_silent(now_.monotonic)) return Reason::kPlcSilent;
  if (plc_.abort) return Reason::kAborted;
  if (!part_present()) return Reason::kPartLeft;  // before the request, which a PLC drops in the same scan
  if (!work_.by_hand && plc_.request_id == 0) return Reason::kAborted;
  if (plc_.request_id != work_.said.request_id) return Reason::kRequestWhileBusy;
  if (plc_.identity.part_id != work_.said.identity.part_id) return Reason::kIdentityChanged;
  const bool other_plan =
      plc_.recipe != work_.said.recipe || plc_.identity.stage != work_.said.identity.stage;
  if (other_plan) return Reason::kPlanChanged;
  const bool moved = phase_ == Phase::kTraversing && zone_in_position() != work_.zone_index + 1;
  if (moved) return Reason::kZoneNotInPosition;
  return std::nullopt;
}

bool Cycle::part_present() const { return present_by_hand_ || plc_.part_present; }

std::uint16_t Cycle::zone_in_position() const {
  return present_by_hand_ ? zone_by_hand_ : plc_.zone_in_position;
}

void Cycle::step_result() {
  const bool answers = plc_.acknowledge == static_cast<std::uint16_t>(shown_->judgement.sequence) &&
                       plc_.acknowledge != shown_->acknowledge_before;
  if (answers) {
    shown_->acknowledged = true;
    warnings_ &= static_cast<std::uint16_t>(~base::kWarnResultNotAcknowledged);
  }
  const std::int64_t age_ms = elapsed_ms(shown_->since, now_.monotonic);
  const bool silent = plc_silent(now_.monotonic);
  const auto interrupted = interruption();
  const bool ended =
      !part_present() || plc_.request_id != last_request_ || (plc_.request_id == 0 && !work_.by_hand);
  if (stopping_) {
    withdraw(Reason::kStopping);
  } else if (ended && !silent) {
    withdraw(Reason::kNone);
  } else if (interrupted && (silent || shown_->judgement.verdict != Verdict::kNone)) {
    withdraw(*interrupted);
  } else if (!shown_->acknowledged && age_ms > cell_->timing.acknowledge_timeout_ms) {
    warnings_ |= base::kWarnResultNotAcknowledged;
    withdraw(Reason::kNotAcknowledged);
  } else if (age_ms > cell_->timing.green_limit_ms) {
    withdraw(Reason::kResultExpired);
  } else if (!ledger_healthy_ && shown_->judgement.verdict == Verdict::kAccept) {
    withdraw(ledger_reason_);
  }
}

bool Cycle::plc_silent(base::MonotonicInstant now) const {
  if (!cell_->plc.heartbeat_required) return false;
  return !plc_heard_ || elapsed_ms(*plc_heard_, now) > cell_->plc.heartbeat_timeout_ms;
}

Reason Cycle::blocked_by() const {
  if (stopping_) return Reason::kStopping;
  if (!bypass_) {
    if (const GaugeStanding* gauge = missing_gauge()) return gauge->offline_reason;
  }
  if (!ledger_healthy_) return ledger_reason_;
  if (!bypass_ && !stylus_clear()) {
    for (const GaugeStanding& gauge : gauges_) {
      if (gauge.retract_failed) return Reason::kGaugeFault;
    }
    return Reason::kStylusNotClear;
  }
  if (plc_silent(now_.monotonic)) return Reason::kPlcSilent;
  return Reason::kNone;
}

const GaugeStanding* Cycle::missing_gauge() const {
  for (const GaugeStanding& gauge : gauges_) {
    if (!gauge.identity) return &gauge;
  }
  return nullptr;
}

bool Cycle::stylus_clear() const {
  return std::ranges::all_of(gauges_, [](const GaugeStanding& gauge) { return gauge.stylus_clear; });
}

std::uint32_t Cycle::gauge_in_use() const {
  return work_.plan_index ? cell_->plans[*work_.plan_index].gauge_for(work_.zone_index) : 0;
}

// CYCLE.md, rule 3: asked for each refresh, whatever the phase says.
bool Cycle::result_stands(base::MonotonicInstant now) const {
  return phase_ == Phase::kResult && shown_ && shown_->record != 0 && ledger_healthy_ && !stopping_ &&
         !plc_silent(now) && !interruption() &&
         elapsed_ms(shown_->since, now) <= cell_->timing.green_limit_ms;
}

const PlanDescription* Cycle::plan() const {
  return work_.plan_index ? &cell_->plans[*work_.plan_index].plan : nullptr;
}

}  // namespace crestgate::cell
