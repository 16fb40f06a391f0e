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
    : cell_(cell),
      receipts_(std::move(receipts)),
      book_(std::move(book)),
      software_version_(std::move(software_version)),
      now_(now),
      sequence_(book_.last_sequence()),
      heartbeat_moved_(now.monotonic) {
  CRESTGATE_EXPECTS(receipts_.plans.size() == cell_.plans.size());
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
  if (first || event.inputs.heartbeat != plc_.heartbeat) plc_heard_ = now_.monotonic;
  plc_ = event.inputs;
}

void Cycle::on(const Ticked& /*event*/) {
  if (elapsed_ms(heartbeat_moved_, now_.monotonic) >= kHeartbeatMs) {
    ++heartbeat_;
    heartbeat_moved_ = now_.monotonic;
  }
}

void Cycle::on(const GaugeCame& event) {
  gauge_ = event.identity;
  gauge_reason_ = Reason::kNone;
  gauge_detail_.clear();
  stylus_clear_ = event.stylus_clear;
  retract_pending_ = false;
  retract_failed_ = false;
  note("gauge_online", Reason::kNone, event.identity.model + " " + event.identity.serial_number);
  // A gauge that introduces itself in the middle of a part has started anew: what ran is gone.
  const bool used =
      phase_ == Phase::kPositioning || phase_ == Phase::kTraversing || phase_ == Phase::kRetracting;
  if (used) {
    if (phase_ == Phase::kTraversing) stylus_clear_ = false;
    fail(Reason::kGaugeRestarted);
  }
  if (!stylus_clear_ && !retract_pending_) retract(false);
}

void Cycle::on(const GaugeWent& event) {
  if (gauge_) note("gauge_offline", event.reason, event.detail);
  gauge_.reset();
  gauge_reason_ = event.reason;
  gauge_detail_ = event.detail;
  stylus_clear_ = false;  // nobody knows where it is
  retract_pending_ = false;
  if (phase_ == Phase::kPositioning || phase_ == Phase::kTraversing || phase_ == Phase::kRetracting) {
    fail(event.reason, event.detail);
  }
}

void Cycle::on(TraverseCame& event) {
  if (event.ticket != ticket_ || phase_ != Phase::kTraversing) return;
  CRESTGATE_EXPECTS(gauge_.has_value());
  auto traverse = std::make_shared<base::Traverse>();
  const analysis::ZonePlan& zone = plan()->part_plan.zones[work_.zone_index];
  traverse->identity = work_.latched.identity;
  traverse->attempt = work_.attempt;
  traverse->cell = cell_.name;
  traverse->plan = plan()->name;
  traverse->plan_stage = plan()->stage_number;
  traverse->zone = zone.name;
  traverse->zone_number = work_.zone_index + 1;
  traverse->traverse_number = work_.traverse_number;
  traverse->request_id = work_.latched.request_id;
  traverse->gauge = *gauge_;
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
  const bool stale = (traverse->heights.quality & base::kQualityUnusable) == 0 && last_traverse_ &&
                     last_traverse_->heights.counts == traverse->heights.counts;
  last_traverse_ = traverse;
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
  if (!retract_pending_) return;  // an answer to a question that a new traverse or a new gauge has overtaken
  retract_pending_ = false;
  stylus_clear_ = event.clear && gauge_.has_value();
  retract_failed_ = !event.clear;
  if (stylus_clear_) return;
  note("retract_failed", event.reason, event.detail);
  if (phase_ == Phase::kRetracting) fail(event.reason, event.detail);
}

void Cycle::on(const StylusSeenDown& /*event*/) {
  if (!gauge_ || !stylus_clear_ || phase_ == Phase::kTraversing || retract_pending_) return;
  note("stylus_seen_down", Reason::kStylusNotClear, "nobody here lowered it");
  stylus_clear_ = false;
  retract(false);
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
  decide(decision.verdict, decision.reason, fate_of(*plan(), decision.verdict), decision.detail);
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
  if (is_measuring(phase_)) {
    fail(Reason::kStopping);
  } else if (!stylus_clear_ && gauge_ && !retract_pending_) {
    retract(false);
  }
}

// A ledger that was only slow is well again when it answers.
void Cycle::ledger_answered() {
  if (ledger_reason_ == Reason::kLedgerSlow) on(LedgerRecovered{});
}

}  // namespace crestgate::cell
