// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/register_codec.h"

#include <cmath>
#include <optional>
#include <string>

#include "driver/signal/signal_output.h"
#include "registers/packing.h"

namespace crestgate::driver {
namespace {

namespace cell = registers::cell;
namespace plc = registers::plc;

std::uint16_t verdict_word(base::Verdict verdict) {
  switch (verdict) {
    case base::Verdict::kAccept:
      return cell::kVerdictAccept;
    case base::Verdict::kReject:
      return cell::kVerdictReject;
    case base::Verdict::kNone:
      return cell::kVerdictNone;
  }
  return cell::kVerdictNone;
}

// Accept only when everything agrees (shows_accept): during a bypass there is no result.
std::uint16_t shown_verdict(const base::CellSignal& signal) {
  if (!signal.result_valid) return cell::kVerdictNothing;
  if (signal.verdict == base::Verdict::kAccept && !shows_accept(signal)) return cell::kVerdictNothing;
  return verdict_word(signal.verdict);
}

std::uint16_t last_word(const base::LastVerdict& last) {
  const bool never_judged =
      last.part_id.empty() ||
      (last.verdict == base::Verdict::kNone && last.reason == base::Reason::kNone && last.sequence == 0);
  return never_judged ? cell::kVerdictNothing : verdict_word(last.verdict);
}

std::uint16_t flags_of(const base::CellSignal& signal, std::uint16_t verdict) {
  unsigned flags = 0;
  const auto set = [&](bool on, std::uint16_t bit) { flags |= on ? unsigned{bit} : 0U; };
  set(signal.busy, cell::kBusyBit);
  set(signal.stylus_clear, cell::kStylusClearBit);
  set(verdict != cell::kVerdictNothing, cell::kResultValidBit);
  set(verdict == cell::kVerdictAccept, cell::kAcceptBit);
  set(verdict == cell::kVerdictReject, cell::kRejectBit);
  set(verdict == cell::kVerdictNone, cell::kNoneBit);
  set(signal.ready, cell::kReadyBit);
  set(signal.hold, cell::kHoldBit);
  set(signal.gauge_online, cell::kGaugeOnlineBit);
  set(signal.gauge_proved, cell::kGaugeProvedBit);
  set(signal.ledger_healthy, cell::kLedgerHealthyBit);
  set(signal.bypass_active, cell::kBypassBit);
  set(signal.operator_wanted, cell::kOperatorWantedBit);
  return static_cast<std::uint16_t>(flags);
}

constexpr double kLargest = 2147483647.0;  // -2147483648 is kNoValue

std::int32_t thousandths(const std::optional<double>& value) {
  if (!value) return registers::kNoValue;
  const double scaled = std::round(*value * 1000.0);
  // Written so that a NaN is no value either.
  if (!(scaled >= -kLargest && scaled <= kLargest)) return registers::kNoValue;
  return static_cast<std::int32_t>(scaled);
}

std::uint16_t low_word(std::uint64_t value) { return static_cast<std::uint16_t>(value & 0xFFFFU); }

template <class Number>
std::optional<Number> unless_zero(Number value) {
  return value == 0 ? std::nullopt : std::optional<Number>(value);
}

std::optional<std::string> unless_empty(std::string text) {
  return text.empty() ? std::nullopt : std::optional<std::string>(std::move(text));
}

}  // namespace

CellBlock encode_cell_block(const base::CellSignal& signal) {
  CellBlock block{};
  const std::span<std::uint16_t> all(block);
  const std::uint16_t verdict = shown_verdict(signal);
  block[cell::kSequenceFirst] = low_word(signal.sequence);
  block[cell::kMapVersionField] = registers::kMapVersion;
  block[cell::kHeartbeat] = signal.heartbeat;
  block[cell::kState] = static_cast<std::uint16_t>(signal.state);
  block[cell::kRequestEcho] = signal.request_echo;
  block[cell::kFlags] = flags_of(signal, verdict);
  block[cell::kVerdict] = verdict;
  block[cell::kReason] = static_cast<std::uint16_t>(signal.reason);
  block[cell::kFate] = static_cast<std::uint16_t>(signal.fate);
  block[cell::kZoneDone] = signal.zone_done;
  block[cell::kZoneWanted] = signal.zone_wanted;
  block[cell::kZonesTotal] = signal.zones_total;
  block[cell::kAttempt] = signal.attempt;
  block[cell::kWarnings] = signal.warnings;
  block[cell::kRecipeEcho] = signal.recipe_echo;
  block[cell::kStageEcho] = signal.stage_echo;
  registers::put_i32(all.subspan(cell::kDecidingValue, 2), thousandths(signal.deciding_value));
  registers::put_i32(all.subspan(cell::kDecidingLimit, 2), thousandths(signal.deciding_limit));
  registers::put_text(all.subspan(cell::kDecidingSymbol, registers::kSymbolRegisters),
                      signal.deciding_symbol);
  block[cell::kDecidingZone] = signal.deciding_zone;
  registers::put_u32(all.subspan(cell::kResultAge, 2), signal.result_age_ms);
  registers::put_u32(all.subspan(cell::kJudgementRecord, 2), signal.judgement_record);
  registers::put_text(all.subspan(cell::kPartIdEcho, registers::kPartIdRegisters), signal.part_id);
  block[cell::kLastVerdict] = last_word(signal.last);
  block[cell::kLastReason] = static_cast<std::uint16_t>(signal.last.reason);
  block[cell::kLastSequence] = low_word(signal.last.sequence);
  registers::put_text(all.subspan(cell::kLastPartId, registers::kPartIdRegisters), signal.last.part_id);
  registers::put_f32(all.subspan(cell::kTestFloat, 2), cell::kTestFloatValue);
  registers::put_i32(all.subspan(cell::kTestSigned, 2), cell::kTestSignedValue);
  registers::put_text(all.subspan(cell::kTestText, 1), cell::kTestTextValue);
  block[cell::kSequenceLast] = low_word(signal.sequence);
  return block;
}

base::PlcInputs decode_plc_block(const PlcBlock& block) {
  const std::span<const std::uint16_t> all(block);
  const std::uint16_t control = block[plc::kControl];
  base::PlcInputs inputs;
  inputs.heartbeat = block[plc::kHeartbeat];
  inputs.request_id = block[plc::kRequestId];
  inputs.recipe = block[plc::kRecipe];
  inputs.zone_in_position = block[plc::kZoneInPosition];
  inputs.acknowledge = block[plc::kAcknowledge];
  inputs.part_present = (control & plc::kPartPresentBit) != 0;
  inputs.abort = (control & plc::kAbortBit) != 0;
  inputs.bypass = (control & plc::kBypassBit) != 0;
  inputs.release = (control & plc::kReleaseBit) != 0;
  inputs.manual_trigger = (control & plc::kManualTriggerBit) != 0;
  inputs.attempt = block[plc::kAttempt];
  inputs.bypass_minutes = block[plc::kBypassMinutes];
  inputs.identity.stage = unless_zero(block[plc::kStage]);
  inputs.identity.spindle = unless_zero(block[plc::kSpindle]);
  inputs.identity.wheel = unless_zero(registers::get_u32(all.subspan(plc::kWheel, 2)));
  inputs.identity.dress_count = unless_zero(registers::get_u32(all.subspan(plc::kDressCount, 2)));
  const auto text = [&](std::uint16_t at, std::uint16_t count) {
    return registers::get_text(all.subspan(at, count));
  };
  inputs.identity.part_id = unless_empty(text(plc::kPartId, registers::kPartIdRegisters));
  inputs.identity.batch = unless_empty(text(plc::kBatch, registers::kBatchRegisters));
  inputs.identity.machine = unless_empty(text(plc::kMachine, registers::kMachineRegisters));
  inputs.operator_name = text(plc::kOperator, registers::kOperatorRegisters);
  return inputs;
}

}  // namespace crestgate::driver
