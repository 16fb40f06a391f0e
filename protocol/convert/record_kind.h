// SPDX-License-Identifier: Apache-2.0
#pragma once
// The kinds of record a ledger holds. The number stands before every record on the disk.

#include <cstdint>
#include <string_view>

#include "base/record.h"

namespace crestgate::protocol {

// Never renumbered, never reused; see protocol/ledger/FORMAT.md for the ranges.
enum class RecordKind : std::uint8_t { kTraverse = 1, kJudgement = 2, kEvent = 3, kDocument = 4 };

[[nodiscard]] constexpr RecordKind kind_of(const base::Record& record) {
  return static_cast<RecordKind>(record.index() + 1);
}

// Lower case, for lists and messages; "unknown" for a number without a name.
[[nodiscard]] constexpr std::string_view name_of(RecordKind kind) {
  switch (kind) {
    case RecordKind::kTraverse:
      return "traverse";
    case RecordKind::kJudgement:
      return "judgement";
    case RecordKind::kEvent:
      return "event";
    case RecordKind::kDocument:
      return "document";
  }
  return "unknown";
}

[[nodiscard]] constexpr bool is_known(RecordKind kind) { return name_of(kind) != "unknown"; }

}  // namespace crestgate::protocol
