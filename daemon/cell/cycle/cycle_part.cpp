// SPDX-License-Identifier: Apache-2.0
// The way of one part: from its request to what is shown and withdrawn.

#include <utility>

#include "daemon/cell/cycle/cycle.h"
#include "daemon/cell/cycle/phase_time.h"

namespace crestgate::cell {
namespace {

using base::Fate;
using base::Reason;
using base::Verdict;

}  // namespace

void Cycle::begin() {
  ++ticket_;
  work_ = {};
  work_.latched = plc_;
  last_request_ = plc_.request_id;
  withdrawn_for_ = Reason::kNone;
  warnings_ = 0;
  for (std::uint32_t i = 0; i < cell_.plans.size(); ++i) {
    if (cell_.plans[i].recipe == plc_.recipe) work_.plan_index = i;
  }
  work_.attempt = 1;
  if (plan() == nullptr) {
    fail(Reason::kUnknownRecipe, "recipe " + std::to_string(plc_.recipe));
    return;
  }
  const base::PartIdentity& identity = work_.latched.identity;
  work_.attempt = book_.attempts(identity, plan()->stage_number) + 1;
  // The PLC may know of attempts that this ledger does not; it cannot take any back.
  const bool believable = plc_.attempt <= plan()->attempts_allowed;
  if (believable && plc_.attempt > work_.attempt) work_.attempt = plc_.attempt;
  if (plc_.attempt != 0 && plc_.attempt < work_.attempt) warnings_ |= base::kWarnRequestRefused;
  if (!plc_.part_present) {
    fail(Reason::kPartLeft, "part present is not set");
  } else if (plan()->part_id_required && !identity.part_id) {
    fail(Reason::kPartIdMissing);
  } else if (identity.stage && *identity.stage != plan()->stage_number) {
    fail(Reason::kStageContradictsPlan, "stage " + std::to_string(*identity.stage) +
                                            " given, the plan is for stage " +
                                            std::to_string(plan()->stage_number));
  } else if (work_.attempt > plan()->attempts_allowed || !believable) {
    fail(Reason::kAttemptsExhausted, std::to_string(plan()->attempts_allowed) + " allowed, this is attempt " +
                                         std::to_string(believable ? work_.attempt : plc_.attempt));
  } else {
    want_zone();
  }
}

void Cycle::want_zone() { enter(Phase::kPositioning); }

void Cycle::enter(Phase phase) {
  phase_ = phase;
  work_.phase_since = now_.monotonic;
}

void Cycle::start_traverse() {
  enter(Phase::kTraversing);
  stylus_clear_ = false;
  retract_pending_ = false;
  const ZoneTraverse& traverse = plan()->traverses[work_.zone_index];
  actions_.emplace_back(StartTraverse{.ticket = ticket_,
                                      .zone_index = work_.zone_index,
                                      .length_mm = traverse.length_mm,
                                      .spacing_mm = traverse.spacing_mm,
                                      .speed_mm_per_s = traverse.speed_mm_per_s});
}

void Cycle::zone_finished() {
  ++work_.zones_done;
  retract(false);
  // After the last zone the verdict need not wait for the stylus; "stylus clear" tells when the part may
  // move.
  const bool last = work_.zones_done == plan()->part_plan.zones.size();
  enter(last ? Phase::kSettling : Phase::kRetracting);
}

void Cycle::retract(bool abort) {
  retract_pending_ = true;
  retract_tried_ = now_.monotonic;
  actions_.emplace_back(RetractStylus{abort});
}

void Cycle::fail(Reason reason, const std::string& detail) {
  // A traverse may still be running: its answer is not wanted any more, but traverses on their way to the
  // ledger are.
  if (phase_ == Phase::kTraversing && gauge_) retract(true);
  const Fate fate = plan() == nullptr || reason == Reason::kAttemptsExhausted
                        ? Fate::kQuarantine
                        : fate_of(*plan(), Verdict::kNone);
  std::string sentence(base::text_of(reason).sentence);
  if (!detail.empty()) sentence += ": " + detail;
  decide(Verdict::kNone, reason, fate, std::move(sentence));
  enter(Phase::kSettling);
  step_measuring();
}

void Cycle::decide(Verdict verdict, Reason reason, Fate fate, std::string detail) {
  base::Judgement judgement;
  judgement.identity = work_.latched.identity;
  judgement.attempt = work_.attempt;
  judgement.cell = cell_.name;
  judgement.plan = plan() == nullptr ? "" : plan()->name;
  judgement.plan_stage = plan() == nullptr ? std::uint16_t{0} : plan()->stage_number;
  judgement.request_id = work_.latched.request_id;
  judgement.sequence = sequence_ + 1;
  judgement.verdict = verdict;
  judgement.reason = reason;
  judgement.fate = fate;
  judgement.detail = std::move(detail);
  judgement.software_version = software_version_;
  work_.judgement = std::move(judgement);
}

void Cycle::record_judgement() {
  enter(Phase::kRecording);
  base::Judgement& judgement = *work_.judgement;
  judgement.judged_utc = now_.utc;
  judgement.judged_monotonic = now_.monotonic;
  judgement.cites = work_.cites;
  if (work_.plan_index) {
    const Receipt& plan_receipt = receipts_.plans[*work_.plan_index];
    judgement.cites.push_back({plan_receipt.number, plan_receipt.digest});
  }
  judgement.cites.push_back({receipts_.cell.number, receipts_.cell.digest});
  ++sequence_;
  actions_.emplace_back(RecordJudgement{ticket_, judgement});
}

void Cycle::show(std::uint64_t record) {
  shown_ =
      Shown{.judgement = *work_.judgement, .record = record, .since = now_.monotonic, .acknowledged = false};
  phase_ = Phase::kResult;
}

// Not in the ledger, so not a judgement: whatever was decided, the line is told "none", under a number of its
// own.
void Cycle::show_unrecorded(Reason reason, const std::string& detail) {
  decide(Verdict::kNone, reason, Fate::kMeasureAgain,
         std::string(base::text_of(reason).sentence) + ": " + detail);
  ++sequence_;
  work_.judgement->judged_utc = now_.utc;
  work_.judgement->judged_monotonic = now_.monotonic;
  owed_.push_back(*work_.judgement);
  book_.note(*work_.judgement);
  show(0);
}

void Cycle::withdraw(Reason reason) {
  withdrawn_for_ = reason;
  shown_.reset();
  phase_ = Phase::kIdle;
}

void Cycle::note(std::string what, Reason reason, std::string detail) {
  actions_.emplace_back(RecordEvent{base::Event{.happened_utc = now_.utc,
                                                .happened_monotonic = now_.monotonic,
                                                .cell = cell_.name,
                                                .reason = reason,
                                                .what = std::move(what),
                                                .detail = std::move(detail),
                                                .software_version = software_version_}});
}

}  // namespace crestgate::cell
