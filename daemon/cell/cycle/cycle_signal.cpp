// SPDX-License-Identifier: Apache-2.0
// What the outputs show, derived afresh from the cycle's state each time: nothing latches.

#include "daemon/cell/cycle/cycle.h"

namespace crestgate::cell {
namespace {

using base::Actor;
using base::CellState;
using base::Lamp;
using base::Reason;
using base::Verdict;

// No verdict: the lamp calls for a person where one can do something about it.
Lamp lamp_without_verdict(Reason reason) {
  return base::text_of(reason).actor == Actor::kNobody ? Lamp::kDark : Lamp::kBlueFlashing;
}

Lamp lamp_for(Verdict verdict, Reason reason) {
  switch (verdict) {
    case Verdict::kAccept:
      return Lamp::kGreen;
    case Verdict::kReject:
      return Lamp::kRed;
    case Verdict::kNone:
      break;
  }
  return lamp_without_verdict(reason);
}

CellState idle_state(Reason blocked) {
  switch (blocked) {
    case Reason::kNone:
      return CellState::kReady;
    case Reason::kStarting:
      return CellState::kStarting;
    case Reason::kStylusNotClear:
      return CellState::kMeasuring;
    default:
      return CellState::kFault;
  }
}

}  // namespace

base::CellSignal Cycle::signal(base::MonotonicInstant now) const {
  base::CellSignal signal;
  signal.heartbeat = heartbeat_;
  signal.sequence = sequence_;
  signal.gauge_online = missing_gauge() == nullptr;
  signal.stylus_clear = stylus_clear() && phase_ != Phase::kTraversing;
  signal.bypass_active = bypass_.has_value();
  signal.ledger_healthy = ledger_healthy_;
  signal.warnings = warnings_;
  if (!signal.gauge_online) signal.warnings |= base::kWarnGaugeOffline;
  if (plc_silent(now)) signal.warnings |= base::kWarnPlcHeartbeatMissing;
  if (plc_.contested) signal.warnings |= base::kWarnOtherPlcRefused;
  // A release has its place in the table; nothing is held in this version, so there is nothing to release.
  if (plc_.release) signal.warnings |= base::kWarnRequestRefused;
  signal.last = book_.last(plc_.identity.part_id.value_or(""));

  if (stopping_) {
    signal.state = CellState::kStopping;
    signal.reason = Reason::kStopping;
    return signal;
  }
  switch (phase_) {
    case Phase::kIdle:
      show_idle(signal);
      break;
    case Phase::kPositioning:
    case Phase::kTraversing:
    case Phase::kRetracting:
    case Phase::kSettling:
    case Phase::kJudging:
    case Phase::kRecording:
      signal.state = CellState::kMeasuring;
      signal.reason = Reason::kNone;
      signal.busy = true;
      show_work(signal);
      break;
    case Phase::kResult:
      signal.state = CellState::kResult;
      show_work(signal);
      show_result(signal, now);
      break;
    case Phase::kStopped:
      signal.state = CellState::kStopping;
      signal.reason = Reason::kStopping;
      break;
  }
  signal.operator_wanted = signal.lamp == Lamp::kBlueFlashing;
  return signal;
}

void Cycle::show_idle(base::CellSignal& signal) const {
  const Reason blocked = blocked_by();
  signal.ready = blocked == Reason::kNone;
  if (bypass_ && signal.ready) {
    signal.state = CellState::kBypass;
    signal.reason = Reason::kBypassed;
    signal.lamp = lamp_without_verdict(signal.reason);
    signal.line = "bypassed by " + bypass_->who + ": parts go on unmeasured";
    return;
  }
  signal.state = idle_state(blocked);
  signal.busy = blocked == Reason::kStylusNotClear;
  signal.reason = signal.ready ? withdrawn_for_ : blocked;
  signal.lamp = lamp_without_verdict(signal.reason);
  if (signal.ready) return;
  signal.line = std::string(base::text_of(blocked).sentence);
  const GaugeStanding* gauge = missing_gauge();
  if (gauge != nullptr && gauge->offline_reason == blocked && !gauge->offline_detail.empty()) {
    signal.line += ": " + gauge->offline_detail;
  }
}

void Cycle::show_work(base::CellSignal& signal) const {
  signal.request_echo = work_.latched.request_id;
  signal.recipe_echo = work_.latched.recipe;
  signal.stage_echo = work_.latched.identity.stage.value_or(0);
  signal.part_id = work_.latched.identity.part_id.value_or("");
  signal.attempt = static_cast<std::uint16_t>(work_.attempt);
  signal.zone_done = static_cast<std::uint16_t>(work_.zones_done);
  signal.zones_total =
      plan() == nullptr ? std::uint16_t{0} : static_cast<std::uint16_t>(plan()->traverses.size());
  if (phase_ == Phase::kPositioning) signal.zone_wanted = static_cast<std::uint16_t>(work_.zone_index + 1);
}

void Cycle::show_result(base::CellSignal& signal, base::MonotonicInstant now) const {
  const base::Judgement& judgement = shown_->judgement;
  if (judgement.verdict == Verdict::kAccept && !result_stands(now))
    return;  // until the next event withdraws it
  signal.result_valid = true;
  signal.verdict = judgement.verdict;
  signal.reason = judgement.reason;
  signal.fate = judgement.fate;
  signal.lamp = lamp_for(judgement.verdict, judgement.reason);
  signal.sequence = judgement.sequence;
  signal.judgement_record = static_cast<std::uint32_t>(shown_->record);
  signal.result_age_ms = static_cast<std::uint32_t>((now - shown_->since) / base::kNsPerMs);
  if (judgement.deciding) {
    const base::ParameterResult& result = judgement.results[*judgement.deciding];
    signal.deciding_value = result.decided;
    signal.deciding_symbol = result.symbol;
    signal.deciding_limit =
        result.reason == Reason::kBelowLowerLimit || !result.upper ? result.lower : result.upper;
    for (std::size_t i = 0; i < plan()->part_plan.zones.size(); ++i) {
      if (plan()->part_plan.zones[i].name == result.zone)
        signal.deciding_zone = static_cast<std::uint16_t>(i + 1);
    }
  }
  signal.line = judgement.identity.part_id.value_or("part unknown") + ": " + judgement.detail;
}

}  // namespace crestgate::cell
