// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/register_page.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>
#include <span>
#include <string_view>

#include "base/cell_signal.h"
#include "base/reason.h"
#include "registers/register_map.h"
#include "registers/register_words.h"

namespace crestgate::driver {
namespace {

using registers::Field;
using registers::Kind;

std::string padded(unsigned number, std::size_t width) {
  std::string text = std::to_string(number);
  while (text.size() < width) text.insert(text.begin(), '0');
  return text;
}

std::string hex_word(std::uint16_t word) {
  char text[8];
  std::snprintf(text, sizeof text, "%04Xh", unsigned{word});
  return text;
}

std::string range(unsigned first, unsigned count, std::size_t width = 0) {
  const std::string begin = padded(first, width);
  return count == 1 ? begin : begin + "-" + padded(first + count - 1, width);
}

// The 1-based reference numbers: table digit 3 input registers, 4 holding registers.
std::string reference(unsigned table, unsigned address, unsigned count) {
  return range(table * 10000 + address + 1, count, 5);
}

std::string type_text(const Field& field) {
  std::string text(registers::name_of(field.kind));
  if (field.kind == Kind::kText) text += ", " + std::to_string(2 * field.count) + " characters";
  return text;
}

std::string plc_table() {
  std::string page =
      "## From the PLC to the cell\n\n"
      "Holding registers, to be read (function 3) and written (functions 6, 16, 23). "
      "A write that leaves this block is refused with exception 2.\n\n"
      "| address | reference | type | name | meaning |\n| --- | --- | --- | --- | --- |\n";
  for (const Field& field : registers::plc::kFields) {
    page += "| " + range(field.address, field.count) + " | " + reference(4, field.address, field.count) +
            " | " + type_text(field) + " | " + std::string(field.name) + " | " + std::string(field.meaning) +
            " |\n";
  }
  return page;
}

std::string cell_table() {
  std::string page =
      "\n## From the cell to the PLC\n\n"
      "Input registers (function 4), and the same block again as holding registers (functions 3 and 23) for "
      "drivers "
      "that read nothing else. Writing it is refused with exception 2. Read the whole block with one "
      "request.\n\n"
      "| input address | reference | holding address | reference | type | name | meaning |\n"
      "| --- | --- | --- | --- | --- | --- | --- |\n";
  for (const Field& field : registers::cell::kFields) {
    const unsigned mirror = unsigned{registers::kMirrorBase} + field.address;
    page += "| " + range(field.address, field.count) + " | " + reference(3, field.address, field.count) +
            " | " + range(mirror, field.count) + " | " + reference(4, mirror, field.count) + " | " +
            type_text(field) + " | " + std::string(field.name) + " | " + std::string(field.meaning) + " |\n";
  }
  return page;
}

std::string verdict_table() {
  std::string page = "\n## Verdict words\n\n| word | meaning |\n| --- | --- |\n";
  for (const registers::NumberedWord& word : registers::kVerdictWords) {
    page += "| " + hex_word(word.number) + " | " + std::string(word.name) + ": " + std::string(word.meaning) +
            " |\n";
  }
  return page + "\nAny other word is damage: treat it as not accepted.\n";
}

std::string bit_rows(std::span<const registers::Bit> bits) {
  std::string rows = "| bit | mask | name | meaning |\n| --- | --- | --- | --- |\n";
  for (const registers::Bit& bit : bits) {
    unsigned number = 0;
    while ((unsigned{bit.mask} >> number) != 1U) ++number;
    rows += "| " + std::to_string(number) + " | " + hex_word(bit.mask) + " | " + std::string(bit.name) +
            " | " + std::string(bit.meaning) + " |\n";
  }
  return rows;
}

// The codec shows the base's bits as they are, so the table has to name them as they are.
constexpr std::array kBaseWarnings = {base::kWarnDiskLow,           base::kWarnLinkRetries,
                                      base::kWarnReferenceCheckDue, base::kWarnPlcHeartbeatMissing,
                                      base::kWarnGaugeOffline,      base::kWarnResultNotAcknowledged,
                                      base::kWarnRequestRefused,    base::kWarnOtherPlcRefused,
                                      base::kWarnOutputFailed};
constexpr bool warnings_agree() {
  for (std::size_t i = 0; i < kBaseWarnings.size(); ++i) {
    if (registers::kWarningBits[i].mask != kBaseWarnings[i]) return false;
  }
  return registers::kWarningBits.size() == kBaseWarnings.size();
}
static_assert(warnings_agree());

std::string flag_tables() {
  return "\n## Bits of flags\n\n" + bit_rows(registers::kFlagBits) + "\n## Bits of control\n\n" +
         bit_rows(registers::kControlBits) + "\n## Bits of warnings\n\n" + bit_rows(registers::kWarningBits);
}

std::string reason_table() {
  std::string page =
      "\n## Reason codes\n\nNever renumbered, never reused. A code that is not here comes from a newer "
      "version.\n\n"
      "| code | name | meaning | who acts |\n| --- | --- | --- | --- |\n";
  for (const base::ReasonText& text : base::kReasonTexts) {
    page += "| " + std::to_string(static_cast<unsigned>(text.reason)) + " | " + std::string(text.name) +
            " | " + std::string(text.sentence) + " | " + std::string(base::name_of(text.actor)) + " |\n";
  }
  return page;
}

constexpr std::string_view kHead =
    "# Register table, version 1\n\n"
    "Modbus TCP. Addresses are the 0-based addresses of the protocol data unit; references are the 1-based "
    "numbers "
    "with the table digit in front that many PLC tools show (3xxxx input registers, 4xxxx holding "
    "registers).\n\n"
    "- 32-bit values: high word first (lower address), high byte first within a word (\"ABCD\").\n"
    "- Text: two characters a register, the first one in the high byte, padded with NUL, printable ASCII.\n"
    "- Settle the word order first: test_float reads 123456.0 (registers 47F1h 2000h), test_signed reads "
    "-70000 "
    "(FFFEh EE90h), test_text reads AB (4142h).\n"
    "- Functions: 3, 4, 6, 16 and 23; 23 writes before it reads. Any other is refused with exception 1, a "
    "wrong count "
    "with 3, a foreign unit with 10.\n"
    "- One PLC writes: the address whose write was carried out last, through as many connections as it "
    "likes, "
    "until it is disconnected or has written nothing for 5 s. Until then other addresses are refused with "
    "exception 6, one that is not among allowed_writers always with 1. Everybody may read.\n\n"
    "## When a part is accepted\n\n"
    "Only if all of this holds, in one read of the whole block:\n\n";

constexpr std::string_view kNotAccepted =
    "A closed connection, or a heartbeat that did not change for 2 s, means **not accepted**, whatever the "
    "registers "
    "said last. So do all zeros (nothing runs), all ones, and any word that is not in these tables.\n\n";

}  // namespace

std::string register_page() {
  std::string conditions;
  for (std::size_t i = 0; i < registers::kAcceptConditions.size(); ++i) {
    conditions += std::to_string(i + 1) + ". " + std::string(registers::kAcceptConditions[i]) +
                  (i + 1 < registers::kAcceptConditions.size() ? ";\n" : ".\n\n");
  }
  return std::string(kHead) + conditions + std::string(kNotAccepted) + plc_table() + cell_table() +
         verdict_table() + flag_tables() + reason_table();
}

}  // namespace crestgate::driver
