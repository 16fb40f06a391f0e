// SPDX-License-Identifier: Apache-2.0
#pragma once
// The PLC register table: the one place where an address is written. Code, the printed page and the tests
// read it.
//
// Addresses are the 0-based addresses of the Modbus protocol data unit. The cell's block is served twice: as
// input registers from 0 (function 4) and as a read-only mirror in the holding registers from kMirrorBase
// (function 3). The PLC's block is holding registers from 0 (functions 3, 6, 16, 23). 32-bit values: high
// word first. Text: two characters a register, first one in the high byte, padded with NUL, ASCII.

#include <array>
#include <cstdint>
#include <string_view>

namespace crestgate::registers {

enum class Kind : std::uint8_t { kWord, kBits, kUnsigned32, kSigned32, kFloat32, kText, kReserved };

struct Field {
  std::uint16_t address;
  std::uint16_t count;  // registers
  Kind kind;
  std::string_view name;
  std::string_view meaning;
};

constexpr std::uint16_t kMapVersion = 1;
constexpr std::uint16_t kMirrorBase = 100;
constexpr std::uint16_t kPartIdRegisters = 16;  // 32 characters
constexpr std::uint16_t kBatchRegisters = 16;
constexpr std::uint16_t kSymbolRegisters = 8;    // 16 characters
constexpr std::uint16_t kOperatorRegisters = 8;  // 16 characters
constexpr std::uint16_t kMachineRegisters = 8;   // 16 characters
constexpr std::int32_t kNoValue = INT32_MIN;     // a 32-bit value that is not there

// PLC -> cell, holding registers, writable.
namespace plc {
constexpr std::uint16_t kHeartbeat = 0;
constexpr std::uint16_t kRequestId = 1;
constexpr std::uint16_t kControl = 2;
constexpr std::uint16_t kZoneInPosition = 3;
constexpr std::uint16_t kAcknowledge = 4;
constexpr std::uint16_t kRecipe = 5;
constexpr std::uint16_t kStage = 6;
constexpr std::uint16_t kSpindle = 7;
constexpr std::uint16_t kWheel = 8;
constexpr std::uint16_t kDressCount = 10;
constexpr std::uint16_t kAttempt = 12;
constexpr std::uint16_t kBypassMinutes = 13;
constexpr std::uint16_t kReserved = 14;
constexpr std::uint16_t kPartId = 16;
constexpr std::uint16_t kBatch = 32;
constexpr std::uint16_t kMachine = 48;
constexpr std::uint16_t kOperator = 56;
constexpr std::uint16_t kSize = 64;

// Bits of kControl.
constexpr std::uint16_t kPartPresentBit = 1U << 0U;
constexpr std::uint16_t kAbortBit = 1U << 1U;
constexpr std::uint16_t kBypassBit = 1U << 2U;
constexpr std::uint16_t kReleaseBit = 1U << 3U;
constexpr std::uint16_t kManualTriggerBit = 1U << 4U;

inline constexpr std::array kFields = {
    Field{kHeartbeat, 1, Kind::kWord, "plc_heartbeat", "changed by the PLC at least every 500 ms"},
    Field{kRequestId, 1, Kind::kWord, "request_id",
          "0 no request; a change to a new non-zero value asks for one measurement; back to 0 ends it"},
    Field{kControl, 1, Kind::kBits, "control",
          "bit 0 part present, 1 abort, 2 bypass, 3 release, 4 manual trigger"},
    Field{kZoneInPosition, 1, Kind::kWord, "zone_in_position", "k: zone k stands under the stylus; 0 none"},
    Field{kAcknowledge, 1, Kind::kWord, "acknowledge",
          "sequence number of the result that the PLC has taken"},
    Field{kRecipe, 1, Kind::kWord, "recipe", "number of the plan; latched at the request"},
    Field{kStage, 1, Kind::kWord, "stage", "number of the stage, 0 unknown; latched at the request"},
    Field{kSpindle, 1, Kind::kWord, "spindle", "0 unknown; latched at the request"},
    Field{kWheel, 2, Kind::kUnsigned32, "wheel", "number of the wheel, 0 unknown; latched at the request"},
    Field{kDressCount, 2, Kind::kUnsigned32, "dress_count",
          "parts since the last dress, counted from 1, 0 unknown; latched at the request"},
    Field{kAttempt, 1, Kind::kWord, "attempt",
          "0: the cell counts; else it must not be below the cell's own count"},
    Field{kBypassMinutes, 1, Kind::kWord, "bypass_minutes", "how long the bypass may last"},
    Field{kReserved, 2, Kind::kReserved, "reserved", "write 0"},
    Field{kPartId, kPartIdRegisters, Kind::kText, "part_id", "empty: unknown; latched at the request"},
    Field{kBatch, kBatchRegisters, Kind::kText, "batch",
          "parts finished together; empty: unknown; latched at the request"},
    Field{kMachine, kMachineRegisters, Kind::kText, "machine",
          "machine that made the surface; empty: unknown; latched at the request"},
    Field{kOperator, kOperatorRegisters, Kind::kText, "operator", "who asks for the bypass or the release"},
};
}  // namespace plc

// Cell -> PLC, input registers from 0, mirrored read-only in holding registers from kMirrorBase.
namespace cell {
constexpr std::uint16_t kSequenceFirst = 0;
constexpr std::uint16_t kMapVersionField = 1;
constexpr std::uint16_t kHeartbeat = 2;
constexpr std::uint16_t kState = 3;
constexpr std::uint16_t kRequestEcho = 4;
constexpr std::uint16_t kFlags = 5;
constexpr std::uint16_t kVerdict = 6;
constexpr std::uint16_t kReason = 7;
constexpr std::uint16_t kFate = 8;
constexpr std::uint16_t kZoneDone = 9;
constexpr std::uint16_t kZoneWanted = 10;
constexpr std::uint16_t kZonesTotal = 11;
constexpr std::uint16_t kAttempt = 12;
constexpr std::uint16_t kWarnings = 13;
constexpr std::uint16_t kRecipeEcho = 14;
constexpr std::uint16_t kStageEcho = 15;
constexpr std::uint16_t kDecidingValue = 16;
constexpr std::uint16_t kDecidingLimit = 18;
constexpr std::uint16_t kDecidingSymbol = 20;
constexpr std::uint16_t kDecidingZone = 28;
constexpr std::uint16_t kReserved = 29;
constexpr std::uint16_t kResultAge = 30;
constexpr std::uint16_t kJudgementRecord = 32;
constexpr std::uint16_t kPartIdEcho = 34;
constexpr std::uint16_t kLastVerdict = 50;
constexpr std::uint16_t kLastReason = 51;
constexpr std::uint16_t kLastSequence = 52;
constexpr std::uint16_t kLastPartId = 53;
constexpr std::uint16_t kTestFloat = 69;
constexpr std::uint16_t kTestSigned = 71;
constexpr std::uint16_t kTestText = 73;
constexpr std::uint16_t kSequenceLast = 74;
constexpr std::uint16_t kSize = 75;

// Bits of kFlags.
constexpr std::uint16_t kBusyBit = 1U << 0U;
constexpr std::uint16_t kStylusClearBit = 1U << 1U;
constexpr std::uint16_t kResultValidBit = 1U << 2U;
constexpr std::uint16_t kAcceptBit = 1U << 3U;
constexpr std::uint16_t kRejectBit = 1U << 4U;
constexpr std::uint16_t kNoneBit = 1U << 5U;
constexpr std::uint16_t kReadyBit = 1U << 6U;
constexpr std::uint16_t kHoldBit = 1U << 7U;
constexpr std::uint16_t kGaugeOnlineBit = 1U << 8U;
constexpr std::uint16_t kGaugeProvedBit = 1U << 9U;
constexpr std::uint16_t kLedgerHealthyBit = 1U << 10U;
constexpr std::uint16_t kBypassBit = 1U << 11U;
constexpr std::uint16_t kOperatorWantedBit = 1U << 12U;

// Words of kVerdict and kLastVerdict: far apart, so that neither zeros, ones nor a few wrong bits read as
// accept.
constexpr std::uint16_t kVerdictNothing = 0x0000;  // no result
constexpr std::uint16_t kVerdictAccept = 0xA5C3;
constexpr std::uint16_t kVerdictReject = 0x5A3C;
constexpr std::uint16_t kVerdictNone = 0x3CA5;  // a result: no judgement was possible

constexpr float kTestFloatValue = 123456.0F;
constexpr std::int32_t kTestSignedValue = -70000;
constexpr std::string_view kTestTextValue = "AB";

inline constexpr std::array kFields = {
    Field{kSequenceFirst, 1, Kind::kWord, "sequence_first",
          "low 16 bits of the result's number; the block is whole when it equals sequence_last"},
    Field{kMapVersionField, 1, Kind::kWord, "map_version", "version of this table: 1"},
    Field{kHeartbeat, 1, Kind::kWord, "heartbeat",
          "moved by the measuring cycle every 200 ms; unchanged for 2 s means: not accepted"},
    Field{kState, 1, Kind::kWord, "state",
          "1 starting, 2 ready, 3 measuring, 4 result, 5 fault, 6 bypass, 7 stopping"},
    Field{kRequestEcho, 1, Kind::kWord, "request_echo", "the request that this state or result belongs to"},
    Field{kFlags, 1, Kind::kBits, "flags",
          "bit 0 busy, 1 stylus clear, 2 result valid, 3 accept, 4 reject, 5 none, 6 ready, 7 hold, 8 gauge "
          "online, 9 gauge proved, 10 ledger healthy, 11 bypass, 12 operator wanted"},
    Field{kVerdict, 1, Kind::kWord, "verdict", "A5C3h accept, 5A3Ch reject, 3CA5h none, 0 no result"},
    Field{kReason, 1, Kind::kWord, "reason", "reason code"},
    Field{
        kFate, 1, Kind::kWord, "fate",
        "asked for: 0 nothing, 1 pass, 2 rework, 3 scrap, 4 quarantine, 5 measure again, 6 pass unmeasured"},
    Field{kZoneDone, 1, Kind::kWord, "zone_done", "last zone finished, 0 none yet"},
    Field{kZoneWanted, 1, Kind::kWord, "zone_wanted",
          "zone to bring under the stylus next, 0 none; move only while stylus clear is set"},
    Field{kZonesTotal, 1, Kind::kWord, "zones_total", "zones of the plan in use"},
    Field{kAttempt, 1, Kind::kWord, "attempt", "n-th measurement of this part at this stage"},
    Field{kWarnings, 1, Kind::kBits, "warnings",
          "bit 0 disk low, 1 link retries, 2 reference check due, 3 PLC heartbeat missing, 4 gauge offline, "
          "5 result not acknowledged, 6 request refused, 7 another PLC refused, 8 an output failed"},
    Field{kRecipeEcho, 1, Kind::kWord, "recipe_echo", "latched recipe"},
    Field{kStageEcho, 1, Kind::kWord, "stage_echo", "latched stage, 0 unknown"},
    Field{kDecidingValue, 2, Kind::kSigned32, "deciding_value",
          "thousandths of the parameter's unit (um: nm); 80000000h none"},
    Field{kDecidingLimit, 2, Kind::kSigned32, "deciding_limit", "the limit it was held against, same scale"},
    Field{kDecidingSymbol, kSymbolRegisters, Kind::kText, "deciding_symbol", "its parameter, for example Ra"},
    Field{kDecidingZone, 1, Kind::kWord, "deciding_zone", "its zone, 0 none"},
    Field{kReserved, 1, Kind::kReserved, "reserved", "reads 0"},
    Field{kResultAge, 2, Kind::kUnsigned32, "result_age_ms", "age of the result by the monotonic clock"},
    Field{kJudgementRecord, 2, Kind::kUnsigned32, "judgement_record",
          "low 32 bits of the judgement's number in the ledger"},
    Field{kPartIdEcho, kPartIdRegisters, Kind::kText, "part_id_echo", "latched part id"},
    Field{kLastVerdict, 1, Kind::kWord, "last_verdict",
          "last verdict of the id that stands in part_id now, words as in verdict"},
    Field{kLastReason, 1, Kind::kWord, "last_reason", "its reason code"},
    Field{kLastSequence, 1, Kind::kWord, "last_sequence", "its sequence number, low 16 bits"},
    Field{kLastPartId, kPartIdRegisters, Kind::kText, "last_part_id", "the id that was looked up"},
    Field{kTestFloat, 2, Kind::kFloat32, "test_float", "always 123456.0, to settle the word order"},
    Field{kTestSigned, 2, Kind::kSigned32, "test_signed", "always -70000"},
    Field{kTestText, 1, Kind::kText, "test_text", "always AB"},
    Field{kSequenceLast, 1, Kind::kWord, "sequence_last", "equals sequence_first when the block is whole"},
};
}  // namespace cell

// A table without gaps or overlaps, in address order, of `size` registers.
template <std::size_t N>
constexpr bool is_contiguous(const std::array<Field, N>& fields, std::uint16_t size) {
  std::uint16_t next = 0;
  for (const Field& field : fields) {
    if (field.address != next || field.count == 0) return false;
    next = static_cast<std::uint16_t>(next + field.count);
  }
  return next == size;
}
static_assert(is_contiguous(plc::kFields, plc::kSize));
static_assert(is_contiguous(cell::kFields, cell::kSize));
static_assert(cell::kSize <= 125, "one Modbus request must read the whole block");
static_assert(plc::kSize <= kMirrorBase);

}  // namespace crestgate::registers
