// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/cycle/cycle.h"

#include <utility>

#include "base/expects.h"

namespace crestgate::cell {
namespace {

using base::Fate;
using base::Reason;
using base::Verdict;

constexpr std::int64_t kHeartbeatMs = 200;
constexpr std::int64_t kLedgerLimitMs = 5000;      // a disk that syncs slower than this is not one to rely on
constexpr std::int64_t kAnalysisLimitMs = 20'000;  // a hundred times what the largest plan needs
constexpr std::int64_t kRetractLimitMs = 20'000;
constexpr double kTraverseLimitFactor = 4.0;       // of the time that length and speed let expect
constexpr std::int64_t kTraverseLimitMs = 30'000;  // beside it: lowering, resending
constexpr std::int64_t kRetractAgainMs = 2000;  // a stylus that did not come clear is asked again this often

std::int64_t elapsed_ms(base::MonotonicInstant from, base::MonotonicInstant to) {
  return (to - from) / base::kNsPerMs;
}

bool is_measuring(Phase phase) {
  return phase == Phase::kPositioning || phase == Phase::kTraversing || phase == Phase::kRetracting ||
         phase == Phase::kSettling || phase == Phase::kJudging;
}

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

// ---- levels and time ----

void Cycle::step() {
  if (phase_ == Phase::kStopped) return;
  if (gauge_ && !stylus_clear_ && !retract_pending_ && phase_ != Phase::kTraversing &&
      elapsed_ms(retract_tried_, now_.monotonic) >= kRetractAgainMs) {
    retract(false);
  }
  if (is_measuring(phase_)) step_measuring();
  step_due();
  if (phase_ == Phase::kIdle) step_idle();
}

// Only what ends something: nothing is begun before the event is known.
void Cycle::step_due() {
  if (is_measuring(phase_) && !work_.judgement) {
    if (const auto reason = interruption()) fail(*reason);
  }
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
    if (!retract_pending_) phase_ = Phase::kStopped;
    return;
  }
  if (plc_.request_id == 0) last_request_ = 0;
  if (withdrawn_for_ == Reason::kPlcSilent && !plc_silent(now_.monotonic)) withdrawn_for_ = Reason::kNone;
  const bool asked = plc_.request_id != 0 && plc_.request_id != last_request_;
  if (asked && blocked_by() == Reason::kNone) begin();
}

void Cycle::step_measuring() {
  if (!work_.judgement) {
    if (const auto reason = interruption()) fail(*reason);
  }
  if (phase_ == Phase::kPositioning) {
    if (plc_.zone_in_position == work_.zone_index + 1 && stylus_clear_) {
      work_.traverse_number = 1;
      start_traverse();
    } else if (elapsed_ms(work_.phase_since, now_.monotonic) > cell_.timing.zone_timeout_ms) {
      fail(Reason::kZoneNotInPosition, "zone " + std::to_string(work_.zone_index + 1) + " was wanted for " +
                                           std::to_string(cell_.timing.zone_timeout_ms / 1000) + " s");
    }
  } else if (phase_ == Phase::kRetracting && stylus_clear_) {
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

// Why the part in work cannot be finished any more, by the levels of the PLC's block.
std::optional<Reason> Cycle::interruption() const {
  if (plc_silent(now_.monotonic)) return Reason::kPlcSilent;
  if (plc_.abort) return Reason::kAborted;
  if (!plc_.part_present) return Reason::kPartLeft;  // before the request, which a PLC drops in the same scan
  if (plc_.request_id == 0) return Reason::kAborted;
  if (plc_.request_id != work_.latched.request_id) return Reason::kRequestWhileBusy;
  if (plc_.identity.part_id != work_.latched.identity.part_id) return Reason::kIdentityChanged;
  const bool moved = phase_ == Phase::kTraversing && plc_.zone_in_position != work_.zone_index + 1;
  if (moved) return Reason::kZoneNotInPosition;
  return std::nullopt;
}

void Cycle::step_result() {
  if (plc_.acknowledge == static_cast<std::uint16_t>(shown_->judgement.sequence)) {
    shown_->acknowledged = true;
    warnings_ &= static_cast<std::uint16_t>(~base::kWarnResultNotAcknowledged);
  }
  const std::int64_t age_ms = elapsed_ms(shown_->since, now_.monotonic);
  const bool silent = plc_silent(now_.monotonic);
  const auto interrupted = interruption();
  const bool ended = plc_.request_id == 0 || plc_.request_id != last_request_ || !plc_.part_present;
  if (stopping_) {
    withdraw(Reason::kStopping);
  } else if (ended && !silent) {
    withdraw(Reason::kNone);
  } else if (interrupted && (silent || shown_->judgement.verdict != Verdict::kNone)) {
    withdraw(*interrupted);
  } else if (!shown_->acknowledged && age_ms > cell_.timing.acknowledge_timeout_ms) {
    warnings_ |= base::kWarnResultNotAcknowledged;
    withdraw(Reason::kNotAcknowledged);
  } else if (age_ms > cell_.timing.green_limit_ms) {
    withdraw(Reason::kResultExpired);
  } else if (!ledger_healthy_ && shown_->judgement.verdict == Verdict::kAccept) {
    withdraw(ledger_reason_);
  }
}

// ---- the way of one part ----

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

// ---- levels ----

bool Cycle::plc_silent(base::MonotonicInstant now) const {
  if (!cell_.plc.heartbeat_required) return false;
  return !plc_heard_ || elapsed_ms(*plc_heard_, now) > cell_.plc.heartbeat_timeout_ms;
}

Reason Cycle::blocked_by() const {
  if (stopping_) return Reason::kStopping;
  if (!gauge_) return gauge_reason_;
  if (!ledger_healthy_) return ledger_reason_;
  if (!stylus_clear_) return retract_failed_ ? Reason::kGaugeFault : Reason::kStylusNotClear;
  if (plc_silent(now_.monotonic)) return Reason::kPlcSilent;
  return Reason::kNone;
}

// CYCLE.md, rule 3: asked for each refresh, whatever the phase says.
bool Cycle::result_stands(base::MonotonicInstant now) const {
  return phase_ == Phase::kResult && shown_ && shown_->record != 0 && ledger_healthy_ && !stopping_ &&
         !plc_silent(now) && !interruption() && elapsed_ms(shown_->since, now) <= cell_.timing.green_limit_ms;
}

const PlanDescription* Cycle::plan() const {
  return work_.plan_index ? &cell_.plans[*work_.plan_index].plan : nullptr;
}

}  // namespace crestgate::cell
