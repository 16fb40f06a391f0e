// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a label says about its part: "{part_id}", "{part_id};{batch};{wheel}", "P{part_id} B{batch}".

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/identity.h"
#include "base/result.h"

namespace crestgate::cell {

enum class LabelField : std::uint8_t { kPartId, kBatch, kMachine, kStage, kSpindle, kWheel, kDressCount };

// Purpose  reads a scanned line by a layout of literal text and placeholders: part_id, batch, machine, stage,
//          spindle, wheel, dress_count. Braces stand for placeholders only.
class LabelLayout {
 public:
  // Purpose  blanks around the layout are dropped, as they are around every line.
  // Errors   kInvalidConfig: an unknown placeholder, one that stands twice, two without a text between them,
  //          none at all, a brace without its partner, control characters.
  [[nodiscard]] static base::Result<LabelLayout> parse(std::string_view text);

  // Purpose  who is named. Any line may come; the whole of it must match.
  // Method   blanks around the line and around each value are dropped. A value ends where the text after its
  //          placeholder occurs first. Empty is unknown, and so is the number 0, as in the PLC's block.
  // Errors   kMalformed: the line does not match, a number has other signs than digits, or a text is no
  //          printable ASCII (the PLC's block holds nothing else, so that it could never agree).
  //          kOutOfRange: more than 32 characters of part_id or batch or 16 of machine; more than 65535 of
  //          stage or spindle or 4294967295 of wheel or dress_count. kNoData: nothing is known.
  [[nodiscard]] base::Result<base::PartIdentity> read(std::string_view line) const;

  [[nodiscard]] const std::string& text() const { return text_; }

 private:
  struct Slot {
    LabelField field = LabelField::kPartId;
    std::string after;  // the literal text up to the next placeholder; empty only at the end
  };

  LabelLayout() = default;
  [[nodiscard]] std::optional<std::string> take_placeholder(std::string_view name);
  [[nodiscard]] std::optional<std::string> take_all(std::string_view rest);

  std::string text_;
  std::string before_;  // the literal text before the first placeholder
  std::vector<Slot> slots_;
};

}  // namespace crestgate::cell
