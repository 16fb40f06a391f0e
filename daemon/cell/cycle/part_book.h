// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the ledger remembers about each part: how often it was measured at each stage, and its last verdict.

#include <cstdint>
#include <map>
#include <string>
#include <utility>

#include "base/cell_signal.h"
#include "base/judgement.h"
#include "base/traverse.h"
#include "daemon/cell/cycle/sampling_book.h"

namespace crestgate::cell {

// Rebuilt from the ledger at start, so that attempts count across restarts. A part without an id is nobody:
// it is not counted and has no last verdict.
class PartBook {
 public:
  void note(const base::Traverse& traverse);  // an attempt counts from its first traverse on
  void note(const base::Judgement& judgement);

  // Attempts begun so far at the stage of the plan in use.
  [[nodiscard]] std::uint32_t attempts(const base::PartIdentity& identity, std::uint16_t stage) const;
  // Verdict kNone with sequence 0 for an id that was never judged.
  [[nodiscard]] base::LastVerdict last(const std::string& part_id) const;
  [[nodiscard]] std::uint64_t last_sequence() const { return last_sequence_; }
  [[nodiscard]] const SamplingBook& sampling() const { return sampling_; }

 private:
  void begin(const base::PartIdentity& identity, std::uint16_t stage, std::uint32_t attempt);

  std::map<std::pair<std::string, std::uint16_t>, std::uint32_t>
      attempts_;  // (part id, stage) -> highest attempt
  std::map<std::string, base::LastVerdict> last_;
  std::uint64_t last_sequence_ = 0;
  SamplingBook sampling_;
};

}  // namespace crestgate::cell
