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

void Cycle::begin(bool by_hand) {
  ++ticket_;
  work_ = {};
  work_.latched = plc_;
  work_.said = plc_;
  work_.by_hand = by_hand;
  // What a person said of the part before counts for nobody else.
  if (present_by_hand_ && !by_hand) announced_.reset();
  present_by_hand_ = false;
  zone_by_hand_ = 0;
  last_request_ = plc_.request_id;
  withdrawn_for_ = Reason::kNone;
  warnings_ = 0;
}

void Cycle::begin_by_hand(const MeasureAsked& event) {
  begin(true);
  if (event.recipe) work_.latched.recipe = *event.recipe;
  if (event.at_the_bench) {
    work_.watched = false;
    present_by_hand_ = true;
  }
  begin_part();
  // One zone needs no placing: the part lies where it lies.
  if (!work_.watched && plan() != nullptr && plan()->traverses.size() == 1) zone_by_hand_ = 1;
}

// Holds what was asked against what is known; the attempt counts from its first durable record on.
void Cycle::begin_part() {
  for (std::uint32_t i = 0; i < cell_->plans.size(); ++i) {
    if (cell_->plans[i].recipe == work_.latched.recipe) work_.plan_index = i;
  }
  const auto contradiction = merge_announced();
  work_.attempt = 1;
  if (plan() == nullptr) {
    fail(Reason::kUnknownRecipe, "recipe " + std::to_string(work_.latched.recipe));
    return;
  }
  const base::PartIdentity& identity = work_.latched.identity;
  const std::uint32_t begun = book_.attempts(identity, plan()->stage_number);
  work_.attempt = begun + 1;
  // The PLC may know of attempts that this ledger does not; it cannot take any back.
  const bool believable = plc_.attempt <= plan()->attempts_allowed;
  if (believable && plc_.attempt > work_.attempt) work_.attempt = plc_.attempt;
  if (plc_.attempt != 0 && plc_.attempt < work_.attempt) warnings_ |= base::kWarnRequestRefused;
  if (!part_present()) {
    fail(Reason::kPartLeft, "part present is not set");
  } else if (bypass_) {
    pass_over(Reason::kBypassed, "by " + bypass_->who);
  } else if (contradiction) {
    fail(Reason::kIdentityContradicts, *contradiction);
  } else if (plan()->part_id_required && !identity.part_id) {
    fail(Reason::kPartIdMissing);
  } else if (identity.stage && *identity.stage != plan()->stage_number) {
    fail(Reason::kStageContradictsPlan, "stage " + std::to_string(*identity.stage) +
                                            " given, the plan is for stage " +
                                            std::to_string(plan()->stage_number));
  } else if (resume()) {
    if (work_.zones_done == plan()->traverses.size()) {
      enter(Phase::kSettling);  // it was aborted when only the judging was missing
      step_measuring();
    } else {
      want_zone();
    }
  } else if (work_.attempt > plan()->attempts_allowed || !believable) {
    fail(Reason::kAttemptsExhausted, std::to_string(plan()->attempts_allowed) + " allowed, this is attempt " +
                                         std::to_string(believable ? work_.attempt : plc_.attempt));
  } else if (begun == 0 && !book_.sampling().asks_for(*plan(), identity)) {
    pass_over(Reason::kNotSampled, "one part in " + std::to_string(plan()->sampling.every));
  } else {
    want_zone();
  }
}

// Not measured, and so no attempt.
void Cycle::pass_over(Reason reason, const std::string& detail) {
  work_.attempt = 0;
  fail(reason, detail);
}

// ---- aborted and resumed ----

// Everything that was measured stays evidence: a measurement goes on where it was aborted, and is the same
// attempt, as long as its part has not moved.
void Cycle::keep_for_resuming() {
  const bool aborted = work_.judgement->reason == Reason::kAborted && work_.attempt > 0;
  if (!aborted || plan() == nullptr || !work_.latched.identity.part_id) return;
  const bool watched = work_.watched && cell_->plc.heartbeat_required;  // else a swap would go unseen
  if (!work_.undisturbed || !part_present() || !watched || stopping_) return;
  resumable_ = Resumable{.work = work_, .since = now_.monotonic};
  resumable_->work.judgement.reset();
}

void Cycle::forget_resumable() {
  resumable_.reset();
  work_.undisturbed = false;
}

bool Cycle::resume() {
  if (!resumable_) return false;
  const Resumable kept = *std::exchange(resumable_, std::nullopt);
  const Work& before = kept.work;
  const bool same = before.latched.identity == work_.latched.identity &&
                    before.latched.recipe == work_.latched.recipe && before.plan_index == work_.plan_index;
  if (!same || elapsed_ms(kept.since, now_.monotonic) > cell_->timing.resume_limit_ms) return false;
  work_.attempt = before.attempt;
  work_.zones_done = before.zones_done;
  work_.zone_index = before.zones_done;
  work_.traverses = before.traverses;
  work_.cites = before.cites;
  note("resumed", Reason::kNone,
       *before.latched.identity.part_id + " at zone " + std::to_string(work_.zone_index + 1) + ", after " +
           std::to_string(traverses_of_zone()) + " of its traverses");
  return true;
}

std::uint32_t Cycle::traverses_of_zone() const {
  std::uint32_t count = 0;
  for (const auto& traverse : work_.traverses) {
    if (traverse->zone_number == work_.zone_index + 1) ++count;
  }
  return count;
}

// ---- zone by zone ----

void Cycle::want_zone() { enter(Phase::kPositioning); }

void Cycle::enter(Phase phase) {
  phase_ = phase;
  work_.phase_since = now_.monotonic;
}

void Cycle::start_traverse() {
  enter(Phase::kTraversing);
  GaugeStanding& gauge = gauges_[gauge_in_use()];
  gauge.stylus_clear = false;
  gauge.retract_pending = false;
  const ZoneTraverse& traverse = plan()->traverses[work_.zone_index];
  actions_.emplace_back(StartTraverse{.ticket = ticket_,
                                      .zone_index = work_.zone_index,
                                      .length_mm = traverse.length_mm,
                                      .spacing_mm = traverse.spacing_mm,
                                      .speed_mm_per_s = traverse.speed_mm_per_s,
                                      .gauge = gauge_in_use()});
}

void Cycle::zone_finished() {
  ++work_.zones_done;
  retract(gauge_in_use(), false);
  // After the last zone the verdict need not wait for the stylus; "stylus clear" tells when the part may
  // move.
  const bool last = work_.zones_done == plan()->part_plan.zones.size();
  enter(last ? Phase::kSettling : Phase::kRetracting);
}

void Cycle::retract(std::uint32_t gauge, bool abort) {
  gauges_[gauge].retract_pending = true;
  gauges_[gauge].retract_tried = now_.monotonic;
  actions_.emplace_back(RetractStylus{.abort = abort, .gauge = gauge});
}

void Cycle::fail(Reason reason, const std::string& detail) {
  // A traverse may still be running: its answer is not wanted any more, but traverses on their way to the
  // ledger are.
  if (phase_ == Phase::kTraversing && gauges_[gauge_in_use()].identity) retract(gauge_in_use(), true);
  std::string sentence(base::text_of(reason).sentence);
  if (!detail.empty()) sentence += ": " + detail;
  decide(Verdict::kNone, reason, fate_for(reason), std::move(sentence));
  enter(Phase::kSettling);
  step_measuring();
}

Fate Cycle::fate_for(Reason reason) const {
  if (reason == Reason::kBypassed) return cell_->bypass.fate;
  if (plan() == nullptr || reason == Reason::kAttemptsExhausted || reason == Reason::kNotThisPart) {
    return Fate::kQuarantine;  // measuring again would find the same
  }
  return reason == Reason::kNotSampled ? plan()->on_not_sampled : fate_of(*plan(), Verdict::kNone);
}

void Cycle::decide(Verdict verdict, Reason reason, Fate fate, std::string detail) {
  base::Judgement judgement;
  judgement.identity = work_.latched.identity;
  judgement.attempt = work_.attempt;
  judgement.cell = cell_->name;
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
  keep_for_resuming();
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
  shown_ = Shown{.judgement = *work_.judgement,
                 .record = record,
                 .since = now_.monotonic,
                 .acknowledged = !work_.watched,  // a person at the bench has nothing to acknowledge with
                 .acknowledge_before = plc_.acknowledge};
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
                                                .cell = cell_->name,
                                                .reason = reason,
                                                .what = std::move(what),
                                                .detail = std::move(detail),
                                                .software_version = software_version_}});
}

}  // namespace crestgate::cell
