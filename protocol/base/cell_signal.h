// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the cell tells the line, and what the line tells the cell: the vocabulary of lamps and PLC.

#include <cstdint>
#include <optional>
#include <string>

#include "base/judgement.h"

namespace crestgate::base {

enum class CellState : std::uint16_t {
  kNotRunning = 0,  // never sent: what a fresh or dead block reads as
  kStarting = 1,
  kReady = 2,
  kMeasuring = 3,
  kResult = 4,
  kFault = 5,
  kBypass = 6,
  kStopping = 7,
};

enum class Lamp : std::uint8_t { kDark = 0, kGreen = 1, kRed = 2, kBlueFlashing = 3 };

// Bits that warn without changing a verdict.
enum Warning : std::uint16_t {
  kWarnDiskLow = 1U << 0U,
  kWarnLinkRetries = 1U << 1U,
  kWarnReferenceCheckDue = 1U << 2U,
  kWarnPlcHeartbeatMissing = 1U << 3U,
  kWarnGaugeOffline = 1U << 4U,
  kWarnResultNotAcknowledged = 1U << 5U,
  kWarnRequestRefused = 1U << 6U,
  kWarnOtherPlcRefused = 1U << 7U,
  kWarnOutputFailed = 1U << 8U,
};

struct LastVerdict {
  std::string part_id;  // the id that was looked up
  Verdict verdict = Verdict::kNone;
  Reason reason = Reason::kNone;
  std::uint64_t sequence = 0;
  friend bool operator==(const LastVerdict&, const LastVerdict&) = default;
};

// The whole state that outputs show. A complete snapshot, so that applying it twice changes nothing.
struct CellSignal {
  CellState state = CellState::kStarting;
  Lamp lamp = Lamp::kDark;
  std::uint16_t heartbeat = 0;  // moved by the cycle itself every 200 ms
  std::uint64_t sequence = 0;
  std::uint16_t request_echo = 0;
  bool ready = false;
  bool busy = false;
  bool stylus_clear = false;  // nothing may move unless set
  bool result_valid = false;
  bool hold = false;  // the part waits for a release
  bool gauge_online = false;
  bool gauge_proved = false;
  bool ledger_healthy = false;
  bool bypass_active = false;
  bool operator_wanted = false;
  Verdict verdict = Verdict::kNone;
  Reason reason = Reason::kStarting;
  Fate fate = Fate::kNone;
  std::uint16_t warnings = 0;  // Warning bits
  std::uint16_t recipe_echo = 0;
  std::uint16_t stage_echo = 0;
  std::uint16_t zone_done = 0;
  std::uint16_t zone_wanted = 0;
  std::uint16_t zones_total = 0;
  std::uint16_t attempt = 0;
  std::string part_id;                 // echo of the latched id, "" when unknown
  std::uint32_t judgement_record = 0;  // low 32 bits of the ledger number of the judgement shown
  std::uint32_t result_age_ms = 0;
  std::optional<double> deciding_value;  // in the parameter's own unit
  std::optional<double> deciding_limit;
  std::string deciding_symbol;
  std::uint16_t deciding_zone = 0;
  LastVerdict last;
  std::string line;  // the result in one line for people (lamp only)
  friend bool operator==(const CellSignal&, const CellSignal&) = default;
};

// The PLC's block, decoded. Zero or empty in the block means "not supplied" and arrives as an absent
// optional.
struct PlcInputs {
  std::uint16_t heartbeat = 0;
  std::uint16_t request_id = 0;  // 0: no request
  std::uint16_t recipe = 0;
  std::uint16_t zone_in_position = 0;  // 0: none
  std::uint16_t acknowledge = 0;       // low 16 bits of the sequence number taken
  bool part_present = false;
  bool abort = false;
  bool bypass = false;
  bool release = false;
  bool manual_trigger = false;
  std::uint16_t attempt = 0;  // 0: the cell counts
  PartIdentity identity;
  std::string operator_name;  // who asks for the bypass
  std::uint16_t bypass_minutes = 0;
  bool contested = false;  // another PLC than the one that holds the line tried to write, and was refused
  friend bool operator==(const PlcInputs&, const PlcInputs&) = default;
};

}  // namespace crestgate::base
