// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/cabinet/register_tables.h"

#include <algorithm>
#include <bit>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

#include "base/reason.h"
#include "daemon/report/cabinet/step_faults.h"
#include "daemon/report/markup/html_text.h"
#include "registers/register_map.h"
#include "registers/register_words.h"

namespace crestgate::report {
namespace {

namespace cell = registers::cell;
namespace plc = registers::plc;
using registers::Field;
using registers::Kind;

constexpr unsigned kInputTable = 3;  // leading digits of the 1-based reference numbers
constexpr unsigned kHoldingTable = 4;

std::string type_text(const Field& field) {
  std::string text(registers::name_of(field.kind));
  if (field.kind == Kind::kText) text += " " + std::to_string(2 * field.count);
  return text;
}

std::string place(unsigned address, unsigned count) { return range_text({.first = address, .count = count}); }

std::string reference(unsigned table, unsigned address, unsigned count) {
  return range_text({.first = table * 10000 + address + 1, .count = count, .width = 5});
}

std::string name_cell(const Field& field) { return "<b>" + escaped(field.name) + "</b>"; }

std::string bit_table(std::string_view caption, std::span<const registers::Bit> bits) {
  HtmlTable table(caption, "", {{"bit", "num"}, {"mask", "num"}, {"name", "num"}, {"meaning", ""}});
  for (const registers::Bit& bit : bits) {
    table.row({std::to_string(registers::bit_number(bit.mask)), hex_word(bit.mask),
               "<b>" + escaped(bit.name) + "</b>", escaped(bit.meaning)});
  }
  return table.markup();
}

enum class Written : std::uint8_t { kDecimal, kHexadecimal };

std::string word_table(std::string_view caption, std::span<const registers::NumberedWord> words,
                       Written written) {
  HtmlTable table(caption, "", {{"word", "num"}, {"name", "num"}, {"meaning", ""}});
  for (const registers::NumberedWord& word : words) {
    table.row({written == Written::kHexadecimal ? hex_word(word.number) : std::to_string(word.number),
               "<b>" + escaped(word.name) + "</b>", escaped(word.meaning)});
  }
  return table.markup();
}

std::string two_words(std::uint32_t value) {
  return hex_word(value >> 16U) + " " + hex_word(value & 0xFFFFU);
}

}  // namespace

std::string accept_rule() {
  std::string list =
      "<div class=\"box\">\n<h2 id=\"accepted\">When a part is accepted</h2>\n"
      "<p>Only if <b>all</b> of this holds, in one read of the whole block:</p>\n<ol>\n";
  for (const std::string_view condition : registers::kAcceptConditions)
    list += "<li>" + escaped(condition) + ";</li>\n";
  return list +
         "</ol>\n<p>Anything else means <b>not accepted</b>, whatever the registers said last: a closed "
         "connection, a "
         "heartbeat that stands still, all zeros, all ones, any word that is not in these "
         "tables.</p>\n</div>\n";
}

std::string plc_register_table() {
  HtmlTable table(
      "From the PLC to the cell: holding registers, functions 3 (read), 6, 16, 23 (write)", "registers",
      {{"address", "num"}, {"reference", "num"}, {"type", "num"}, {"name", "num"}, {"meaning", ""}});
  for (const Field& field : plc::kFields) {
    table.row({place(field.address, field.count), reference(kHoldingTable, field.address, field.count),
               type_text(field), name_cell(field), escaped(field.meaning)},
              "plc-" + std::to_string(field.address));
  }
  return table.markup();
}

std::string cell_register_table() {
  HtmlTable table(
      "From the cell to the PLC: input registers (function 4) and, the same, holding registers (functions 3, "
      "23)",
      "registers",
      {{"input address", "num"},
       {"reference", "num"},
       {"holding address", "num"},
       {"reference", "num"},
       {"type", "num"},
       {"name", "num"},
       {"meaning", ""}});
  for (const Field& field : cell::kFields) {
    const unsigned mirror = unsigned{registers::kMirrorBase} + field.address;
    table.row({place(field.address, field.count), reference(kInputTable, field.address, field.count),
               place(mirror, field.count), reference(kHoldingTable, mirror, field.count), type_text(field),
               name_cell(field), escaped(field.meaning)},
              "cell-" + std::to_string(field.address));
  }
  return table.markup();
}

std::string verdict_table() {
  return word_table("Words of verdict and last_verdict", registers::kVerdictWords, Written::kHexadecimal) +
         "<p>Any other word is damage: not accepted.</p>\n";
}
std::string control_bit_table() { return bit_table("Bits of control", registers::kControlBits); }
std::string flag_bit_table() { return bit_table("Bits of flags", registers::kFlagBits); }
std::string warning_bit_table() { return bit_table("Bits of warnings", registers::kWarningBits); }
std::string state_table() { return word_table("Words of state", registers::kStateWords, Written::kDecimal); }
std::string fate_table() {
  return word_table("Words of fate: asked for", registers::kFateWords, Written::kDecimal);
}
std::string exception_table() {
  return word_table("Exceptions", registers::kExceptionWords, Written::kDecimal);
}

std::string test_pattern_table() {
  HtmlTable table("Test pattern: settle the word order first", "",
                  {{"input address", "num"}, {"name", "num"}, {"reads", "num"}, {"words", "num"}});
  const auto row = [&table](std::uint16_t address, const std::string& reads, const std::string& words) {
    const Field& field = field_at(cell::kFields, address);
    table.row({place(field.address, field.count), "<b>" + escaped(field.name) + "</b>", reads, words});
  };
  const auto text_word = static_cast<unsigned>(static_cast<unsigned char>(cell::kTestTextValue[0])) * 256U +
                         static_cast<unsigned char>(cell::kTestTextValue[1]);
  row(cell::kTestFloat, std::to_string(static_cast<long>(cell::kTestFloatValue)) + ".0",
      two_words(std::bit_cast<std::uint32_t>(cell::kTestFloatValue)));
  row(cell::kTestSigned, std::to_string(cell::kTestSignedValue),
      two_words(std::bit_cast<std::uint32_t>(cell::kTestSignedValue)));
  row(cell::kTestText, std::string(cell::kTestTextValue), hex_word(text_word));
  return table.markup() +
         "<p>32-bit values: high word first (lower address). Text: two characters a register, the first one "
         "in the high "
         "byte, padded with NUL, ASCII.</p>\n";
}

std::string step_fault_table() {
  HtmlTable table("If a step comes late, twice, against another one, or not at all", "faults",
                  {{"step", "step"},
                   {"fault", "num"},
                   {"when", ""},
                   {"what the cell does", ""},
                   {"reason", "reason"},
                   {"test", "test"}});
  for (std::size_t i = 0; i < kStepFaults.size(); ++i) {
    const StepFault& fault = kStepFaults[i];
    if (i == 0 || kStepFaults[i - 1].step != fault.step) {
      const auto rows = std::count_if(kStepFaults.begin(), kStepFaults.end(),
                                      [&fault](const StepFault& other) { return other.step == fault.step; });
      table.group(name_of(fault.step), static_cast<std::size_t>(rows));
    }
    const bool coded = fault.reason != base::Reason::kNone;
    table.row({std::string(name_of(fault.kind)), escaped(fault.when), escaped(fault.cell_does),
               coded ? "<b>" + std::to_string(static_cast<unsigned>(fault.reason)) + "</b> " +
                           escaped(base::text_of(fault.reason).name)
                     : "",
               escaped(fault.test_id)},
              "fault-" + std::string(fault.test_id));
  }
  return table.markup();
}

}  // namespace crestgate::report
