// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/cycle/cycle.h"

#include <utility>

#include "base/expects.h"
#include "daemon/cell/cycle/phase_time.h"

namespace crestgate::cell {
namespace {

using base::Fate;
using base::Reason;
using base::Verdict;

constexpr std::int64_t kHeartbeatMs = 200;

}  // namespace

Cycle::Cycle(const CellDescription& cell, DescriptionReceipts receipts, PartBook book,
             std::string software_version, Now now)
    : cell_(&cell),
      receipts_(std::move(receipts)),
      book_(std::move(book)),
      software_version_(std::move(software_version)),
      now_(now),
      sequence_(book_.last_sequence()),
      gauges_(cell.gauges.size()),
      heartbeat_moved_(now.monotonic) {
  CRESTGATE_EXPECTS(receipts_.plans.size() == cell_->plans.size());
}

std::vector<CycleAction> Cycle::handle(CycleEvent event, Now now) {
  now_ = now;
  actions_.clear();
  step_due();  // an event that comes late must not hide what became due before it
  std::visit([this](auto& concrete) { on(concrete); }, event);
  step();
  return std::exchange(actions_, {});
}

// ---- events ----

void Cycle::on(const PlcChanged& event) {
  const bool first = !plc_heard_.has_value();
  const base::PlcInputs before = std::exchange(plc_, event.inputs);
  if (first || plc_.heartbeat != before.heartbeat) plc_heard_ = now_.monotonic;
  if (!part_present()) {
    if (before.part_present) part_left();
    forget_resumable();
  }
  // What stands already when the first word comes may be old: only what rises from then on asks for something.
  // (Without a heartbeat the first word may well be a request: then somebody wrote it just now.)
  if (first) {
    if (cell_->plc.heartbeat_required) last_request_ = plc_.request_id;
    return;
  }
  if (plc_.manual_trigger && !before.manual_trigger) on(MeasureAsked{});
  if (plc_.bypass && !before.bypass) {
    begin_bypass({.who = plc_.operator_name, .minutes = plc_.bypass_minutes}, true);
  }
  if (!plc_.bypass && before.bypass && bypass_ && bypass_->held_by_plc) end_bypass("by the PLC");
}

void Cycle::on(const Ticked& /*event*/) {
  if (elapsed_ms(heartbeat_moved_, now_.monotonic) >= kHeartbeatMs) {
    ++heartbeat_;
    heartbeat_moved_ = now_.monotonic;
  }
}

void Cycle::on(const GaugeCame& event) {
  GaugeStanding& gauge = gauges_[event.gauge];
  gauge.identity = event.identity;
  gauge.offline_reason = Reason::kNone;
  gauge.offline_detail.clear();
  gauge.stylus_clear = event.stylus_clear;
  gauge.retract_pending = false;
  gauge.retract_failed = false;
  note("gauge_online", Reason::kNone, event.identity.model + " " + event.identity.serial_number);
  // A gauge that introduces itself in the middle of a part has started anew: what ran is gone.
  const bool used =
      phase_ == Phase::kPositioning || phase_ == Phase::kTraversing || phase_ == Phase::kRetracting;
  forget_resumable();
  if (used) {
    if (phase_ == Phase::kTraversing && event.gauge == gauge_in_use()) gauge.stylus_clear = false;
    fail(Reason::kGaugeRestarted);
  }
  if (!gauge.stylus_clear && !gauge.retract_pending) retract(event.gauge, false);
}

void Cycle::on(const GaugeWent& event) {
  GaugeStanding& gauge = gauges_[event.gauge];
  if (gauge.identity) note("gauge_offline", event.reason, event.detail);
  gauge.identity.reset();
  gauge.offline_reason = event.reason;
  gauge.offline_detail = event.detail;
  gauge.stylus_clear = false;  // nobody knows where it is
  gauge.retract_pending = false;
  forget_resumable();
  if (phase_ == Phase::kPositioning || phase_ == Phase::kTraversing || phase_ == Phase::kRetracting) {
    fail(event.reason, event.detail);
  }
}

void Cycle::on(TraverseCame& event) {
  if (event.ticket != ticket_ || phase_ != Phase::kTraversing) return;
  GaugeStanding& gauge = gauges_[gauge_in_use()];
  CRESTGATE_EXPECTS(gauge.identity.has_value());
  auto traverse = std::make_shared<base::Traverse>();
  const analysis::ZonePlan& zone = plan()->part_plan.zones[work_.zone_index];
  traverse->identity = work_.latched.identity;
  traverse->attempt = work_.attempt;
  traverse->cell = cell_->name;
  traverse->plan = plan()->name;
  traverse->plan_stage = plan()->stage_number;
  traverse->zone = zone.name;
  traverse->zone_number = work_.zone_index + 1;
  traverse->traverse_number = work_.traverse_number;
  traverse->request_id = work_.latched.request_id;
  traverse->gauge = *gauge.identity;
  traverse->started_utc = event.started_utc;
  traverse->started_monotonic = event.started_monotonic;
  traverse->finished_monotonic = event.finished_monotonic;
  traverse->heights = std::move(event.heights);
  traverse->plan_digest = receipts_.plans[*work_.plan_index].digest;
  traverse->cell_digest = receipts_.cell.digest;
  if ((traverse->heights.quality & base::kQualityResent) != 0) warnings_ |= base::kWarnLinkRetries;
  // With noise in every sample, two passes are never the same to the last count; then it is a memory, not a
  // surface.
  // (Without a usable height there is nothing to compare: a pickup at its end stop is always the same.)
  const bool stale = (traverse->heights.quality & base::kQualityUnusable) == 0 && gauge.last_traverse &&
                     gauge.last_traverse->heights.counts == traverse->heights.counts;
  gauge.last_traverse = traverse;
  book_.note(*traverse);
  ++work_.records_pending;
  work_.traverses.push_back(traverse);
  actions_.emplace_back(RecordTraverse{ticket_, std::move(traverse)});
  if (stale) {
    fail(Reason::kGaugeStale);
    return;
  }
  if (work_.traverse_number < zone.traverses) {
    ++work_.traverse_number;
    start_traverse();
  } else {
    zone_finished();
  }
}

void Cycle::on(const TraverseFailed& event) {
  if (event.ticket != ticket_ || phase_ != Phase::kTraversing) return;
  fail(event.reason, event.detail);
}

void Cycle::on(const StylusWent& event) {
  GaugeStanding& gauge = gauges_[event.gauge];
  if (!gauge.retract_pending) return;  // to a question that a new traverse or a new gauge has overtaken
  gauge.retract_pending = false;
  gauge.stylus_clear = event.clear && gauge.identity.has_value();
  gauge.retract_failed = !event.clear;
  if (gauge.stylus_clear) return;
  note("retract_failed", event.reason, event.detail);
  if (phase_ == Phase::kRetracting) fail(event.reason, event.detail);
}

void Cycle::on(const StylusSeenDown& event) {
  GaugeStanding& gauge = gauges_[event.gauge];
  const bool expected = phase_ == Phase::kTraversing && event.gauge == gauge_in_use();
  if (!gauge.identity || !gauge.stylus_clear || expected || gauge.retract_pending) return;
  note("stylus_seen_down", Reason::kStylusNotClear, "nobody here lowered it");
  forget_resumable();
  gauge.stylus_clear = false;
  retract(event.gauge, false);
}

void Cycle::on(const TraverseRecorded& event) {
  ledger_answered();
  if (event.ticket != ticket_ || work_.records_pending == 0) return;
  --work_.records_pending;
  work_.cites.push_back({event.receipt.number, event.receipt.digest});
}

void Cycle::on(const PartJudged& event) {
  if (event.ticket != ticket_ || phase_ != Phase::kJudging) return;
  const analysis::PartDecision& decision = event.decision;
  const Fate fate =
      decision.verdict == Verdict::kNone ? fate_for(decision.reason) : fate_of(*plan(), decision.verdict);
  decide(decision.verdict, decision.reason, fate, decision.detail);
  work_.judgement->deciding = decision.deciding;
  work_.judgement->results = decision.results;
  record_judgement();
}

void Cycle::on(const JudgementRecorded& event) {
  if (event.ticket == kNobodysTicket && !owed_.empty()) owed_.pop_front();
  ledger_answered();
  if (event.ticket != ticket_ || phase_ != Phase::kRecording) return;
  book_.note(*work_.judgement);
  show(event.receipt.number);
  // A none is the answer to what happened, and stays to be read.
  if (work_.interrupted && work_.judgement->verdict != Verdict::kNone) withdraw(*work_.interrupted);
}

void Cycle::on(const RecordingFailed& event) {
  if (ledger_healthy_) note("ledger_failed", event.reason, event.detail);
  ledger_healthy_ = false;
  ledger_reason_ = event.reason;
  if (event.ticket != ticket_) return;
  if (phase_ == Phase::kRecording) {
    // Not in the ledger, so not a judgement: whatever was decided, nothing may be accepted on it.
    show_unrecorded(event.reason, event.detail);
    return;
  }
  if (work_.records_pending > 0) --work_.records_pending;
  if (is_measuring(phase_)) fail(event.reason, event.detail);
}

void Cycle::on(const LedgerRecovered& /*event*/) {
  if (!ledger_healthy_) note("ledger_recovered", Reason::kNone, "");
  ledger_healthy_ = true;
  ledger_reason_ = Reason::kNone;
  // What the line was told comes after what the failed write may have left, so that the last word is the
  // right one.
  for (const base::Judgement& judgement : owed_)
    actions_.emplace_back(RecordJudgement{kNobodysTicket, judgement});
}

void Cycle::on(const StopAsked& /*event*/) {
  if (stopping_) return;
  stopping_ = true;
  if (bypass_) end_bypass("the cell stops");
  if (is_measuring(phase_)) {
    fail(Reason::kStopping);
    return;
  }
  for (std::uint32_t i = 0; i < gauges_.size(); ++i) {
    const GaugeStanding& gauge = gauges_[i];
    if (gauge.identity && !gauge.stylus_clear && !gauge.retract_pending) retract(i, false);
  }
}

// A ledger that was only slow is well again when it answers.
void Cycle::ledger_answered() {
  if (ledger_reason_ == Reason::kLedgerSlow) on(LedgerRecovered{});
}

}  // namespace crestgate::cell
