// SPDX-License-Identifier: Apache-2.0
#pragma once
// The words that stand inside the registers: bits, states, fates, verdicts, and the rule when a part is accepted.
// Numbers and names are those of registers/register_map.h, checked below; what is added is one sentence each.

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "registers/register_map.h"

namespace crestgate::registers {

constexpr std::string_view name_of(Kind kind) {
  switch (kind) {
    case Kind::kWord:
      return "unsigned 16";
    case Kind::kBits:
      return "16 bits";
    case Kind::kUnsigned32:
      return "unsigned 32";
    case Kind::kSigned32:
      return "signed 32";
    case Kind::kFloat32:
      return "float 32";
    case Kind::kText:
      return "text";
    case Kind::kReserved:
      break;
  }
  return "reserved";
}

struct Bit {
  std::uint16_t mask;
  std::string_view name;
  std::string_view meaning;
};

struct NumberedWord {
  std::uint16_t number;
  std::string_view name;
  std::string_view meaning;
};

inline constexpr std::array kControlBits = {
    Bit{plc::kPartPresentBit, "part present", "a part lies on the bench; falling ends its result"},
    Bit{plc::kAbortBit, "abort", "stop and retract"},
    Bit{plc::kBypassBit, "bypass", "asks for a bypass of bypass_minutes, by operator"},
    Bit{plc::kReleaseBit, "release", "lets a part on hold go"},
    Bit{plc::kManualTriggerBit, "manual trigger", "asks for a measurement by hand"},
};

inline constexpr std::array kFlagBits = {
    Bit{cell::kBusyBit, "busy", "a measurement runs"},
    Bit{cell::kStylusClearBit, "stylus clear",
        "nothing can be hit; move the part or the bench only while set. Under a bypass without a gauge: once "
        "somebody has seen that the stylus is up"},
    Bit{cell::kResultValidBit, "result valid", "verdict, reason and fate belong to request_echo"},
    Bit{cell::kAcceptBit, "accept", "set only with result valid"},
    Bit{cell::kRejectBit, "reject", "set only with result valid"},
    Bit{cell::kNoneBit, "none", "set only with result valid"},
    Bit{cell::kReadyBit, "ready", "a new request is taken"},
    Bit{cell::kHoldBit, "hold", "the part waits for a release; never set by this version"},
    Bit{cell::kGaugeOnlineBit, "gauge online", "the cell's own gauge answers"},
    Bit{cell::kGaugeProvedBit, "gauge proved", "its reference check holds; never set by this version"},
    Bit{cell::kLedgerHealthyBit, "ledger healthy", "results can be recorded"},
    Bit{cell::kBypassBit, "bypass", "parts pass unmeasured"},
    Bit{cell::kOperatorWantedBit, "operator wanted", "somebody has to come"},
};

inline constexpr std::array kWarningBits = {
    Bit{1U << 0U, "disk low", "the ledger's disk will be full before long; never set by this version"},
    Bit{1U << 1U, "link retries", "the gauge had to send data again"},
    Bit{1U << 2U, "reference check due", "the gauge has to be proved before long; never set by this version"},
    Bit{1U << 3U, "PLC heartbeat missing", "plc_heartbeat stands still"},
    Bit{1U << 4U, "gauge offline", "the gauge does not answer"},
    Bit{1U << 5U, "result not acknowledged", "the last result was not taken in time"},
    Bit{1U << 6U, "request refused", "something was asked for that cannot be had now"},
    Bit{1U << 7U, "another PLC refused", "a second address tried to write"},
    Bit{1U << 8U, "an output failed", "a lamp or a digital line cannot be set"},
};

inline constexpr std::array kStateWords = {
    NumberedWord{1, "starting", "no request is taken yet"},
    NumberedWord{2, "ready", "waits for a request"},
    NumberedWord{3, "measuring", "a part is in work"},
    NumberedWord{4, "result", "the answer stands"},
    NumberedWord{5, "fault", "a request waits until the cause that reason names is gone"},
    NumberedWord{6, "bypass", "each request is answered with none at once"},
    NumberedWord{7, "stopping", "the program ends"},
};

inline constexpr std::array kFateWords = {
    NumberedWord{0, "nothing", "no result"},
    NumberedWord{1, "pass", "on to the next station"},
    NumberedWord{2, "rework", "back to the stage before"},
    NumberedWord{3, "scrap", "into the scrap box"},
    NumberedWord{4, "quarantine", "keep it apart until a person decides"},
    NumberedWord{5, "measure again", "seat the part afresh and ask again"},
    NumberedWord{6, "pass unmeasured", "on, without a verdict: not sampled or bypassed"},
};

inline constexpr std::array kVerdictWords = {
    NumberedWord{cell::kVerdictAccept, "accept", "every limit is kept, and the ledger says so"},
    NumberedWord{cell::kVerdictReject, "reject", "a limit is broken"},
    NumberedWord{cell::kVerdictNone, "none",
                 "measured or tried, but no judgement was possible; reason says why"},
    NumberedWord{cell::kVerdictNothing, "no result", "nothing was asked, or nothing stands any more"},
};

// All of it must hold, in one read of the whole block.
inline constexpr std::array<std::string_view, 5> kAcceptConditions = {
    "sequence_first equals sequence_last",
    "request_echo equals the request that was made",
    "result valid and accept are set, reject and none are not",
    "verdict is A5C3h",
    "the connection is open and heartbeat has moved within the last 2 s",
};

inline constexpr std::array kExceptionWords = {
    NumberedWord{1, "illegal function", "another function than 3, 4, 6, 16 or 23"},
    NumberedWord{2, "illegal address", "beyond the blocks, or a write into the cell's own block"},
    NumberedWord{3, "illegal value", "a count that is 0, too large or contradicts its data"},
    NumberedWord{6, "device busy", "a write from another address than the PLC that holds the line"},
    NumberedWord{10, "gateway path unavailable", "another unit than this cell's"},
};

// ---- checks against the map ----

// `meaning` reads "<lead>0 word, 1 word, ..." with the numbers and names of the table and nothing else.
template <class Table, class Number>
constexpr bool reads_as(std::string_view meaning, std::string_view lead, const Table& table, Number number) {
  const auto take = [&meaning](std::string_view text) {
    if (!meaning.starts_with(text)) return false;
    meaning.remove_prefix(text.size());
    return true;
  };
  if (!take(lead)) return false;
  bool first = true;
  for (const auto& entry : table) {
    if (!first && !take(", ")) return false;
    first = false;
    unsigned found = 0;
    std::size_t digits = 0;
    while (digits < meaning.size() && meaning[digits] >= '0' && meaning[digits] <= '9')
      found = 10 * found + static_cast<unsigned>(meaning[digits++] - '0');
    meaning.remove_prefix(digits);
    if (digits == 0 || found != number(entry) || !take(" ") || !take(entry.name)) return false;
  }
  return meaning.empty();
}

constexpr unsigned bit_number(std::uint16_t mask) {
  unsigned number = 0;
  while (number < 15 && (unsigned{mask} >> number) != 1U) ++number;
  return number;
}

template <std::size_t N>
constexpr const Field& field_at(const std::array<Field, N>& fields, std::uint16_t address) {
  std::size_t i = 0;
  while (i + 1 < N && fields[i].address != address) ++i;
  return fields[i];
}

static_assert(reads_as(field_at(plc::kFields, plc::kControl).meaning, "bit ", kControlBits,
                       [](const Bit& bit) { return bit_number(bit.mask); }));
static_assert(reads_as(field_at(cell::kFields, cell::kFlags).meaning, "bit ", kFlagBits,
                       [](const Bit& bit) { return bit_number(bit.mask); }));
static_assert(reads_as(field_at(cell::kFields, cell::kWarnings).meaning, "bit ", kWarningBits,
                       [](const Bit& bit) { return bit_number(bit.mask); }));
static_assert(reads_as(field_at(cell::kFields, cell::kState).meaning, "", kStateWords,
                       [](const NumberedWord& word) { return unsigned{word.number}; }));
static_assert(reads_as(field_at(cell::kFields, cell::kFate).meaning, "asked for: ", kFateWords,
                       [](const NumberedWord& word) { return unsigned{word.number}; }));

}  // namespace crestgate::registers
