// SPDX-License-Identifier: Apache-2.0
#pragma once
// Everything a ledger can hold.

#include <cstdint>
#include <string>
#include <variant>

#include "base/clock.h"
#include "base/judgement.h"
#include "base/traverse.h"

namespace crestgate::base {

// The kind of a Document; what explains other records.
enum class DocumentKind : std::uint8_t {
  kPlan = 1,
  kCell = 2,
  kDialect = 3,
  kCertificate = 4,
  kBaseline = 5,
  kBudget = 6,
  kFittedModel = 7,
};

// A text that other records cite, kept whole and written before first use.
struct Document {
  DocumentKind kind = DocumentKind::kPlan;
  std::string name;     // the plan's or cell's own name
  std::string source;   // file name it was read from, without folders
  std::string content;  // byte for byte
  UtcInstant recorded_utc;
  friend bool operator==(const Document&, const Document&) = default;
};

// Something that happened to the cell and that an engineer will ask about: a start, a fault, a repair, a
// note.
struct Event {
  UtcInstant happened_utc;
  MonotonicInstant happened_monotonic;
  std::string cell;
  Reason reason = Reason::kNone;
  std::string what;    // stable name: "started", "stopped", "fault", "ledger_repaired", "note"
  std::string detail;  // for a person
  std::string software_version;
  friend bool operator==(const Event&, const Event&) = default;
};

using Record = std::variant<Traverse, Judgement, Event, Document>;

}  // namespace crestgate::base
