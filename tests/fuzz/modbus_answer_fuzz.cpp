// SPDX-License-Identifier: Apache-2.0
// Any bytes as a Modbus server's answers: never a crash, an answer is taken only if it is the exact frame that
// the question allows, and how the bytes are cut into pieces changes nothing.

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <optional>
#include <span>
#include <vector>

#include "driver/signal/modbus/modbus_answer.h"

using namespace crestgate::driver;

namespace {

using Bytes = std::vector<std::uint8_t>;

constexpr std::uint16_t kTransaction = 0x0102;
constexpr std::uint8_t kUnit = 1;
constexpr std::array<std::uint16_t, 2> kGivenUp{0x0100, 0x0101};

void require(bool holds) {
  if (!holds) std::abort();
}

// The first byte of an input chooses the question.
std::optional<ModbusAsked> question_of(std::uint8_t choice) {
  const auto count = static_cast<std::uint16_t>(1 + choice / 8);
  ModbusAsked asked{.transaction = kTransaction, .unit = kUnit, .question = {}};
  switch (choice % 8) {
    case 0:
      return std::nullopt;
    case 1:
    case 2:
      asked.question = ask_registers(7, count);
      break;
    case 3:
    case 4:
      asked.question = ask_coils(7, static_cast<std::uint16_t>(7 * count));
      break;
    case 5:
      asked.question = tell_coils(7, std::vector<bool>(7U * count, true));
      break;
    default:
      asked.question = tell_registers(7, std::vector<std::uint16_t>(count, 0xA5C3));
      break;
  }
  return asked;
}

// The only frame whose taking is right, rebuilt from what was taken.
Bytes expected_frame(const ModbusAsked& asked, std::span<const std::uint8_t> data) {
  const ModbusQuestion& question = asked.question;
  Bytes pdu{static_cast<std::uint8_t>(question.function)};
  if (question.data.empty()) {
    pdu.push_back(static_cast<std::uint8_t>(data.size()));
    pdu.insert(pdu.end(), data.begin(), data.end());
  } else {
    require(data.empty());
    for (const unsigned word : {question.first, question.count}) {
      pdu.push_back(static_cast<std::uint8_t>(word >> 8U));
      pdu.push_back(static_cast<std::uint8_t>(word & 0xFFU));
    }
  }
  Bytes frame{1, 2, 0, 0, 0, static_cast<std::uint8_t>(pdu.size() + 1), kUnit};
  frame.insert(frame.end(), pdu.begin(), pdu.end());
  return frame;
}

void check(std::span<const std::uint8_t> input, const std::optional<ModbusAsked>& asked,
           const ModbusAnswer& answer) {
  switch (answer.kind) {
    case AnswerKind::kIncomplete:
      require(input.size() < kModbusLongest);
      return;
    case AnswerKind::kMalformed:
      require(!answer.fault.empty() && input.size() >= kModbusHeader);
      return;
    case AnswerKind::kLate:
      require(std::find(kGivenUp.begin(), kGivenUp.end(), answer.transaction) != kGivenUp.end());
      require(answer.size > kModbusHeader && answer.size <= input.size());
      return;
    case AnswerKind::kException:
      require(asked && answer.size == kModbusHeader + 2 && answer.exception == input[kModbusHeader + 1]);
      require(!exception_words(answer.exception).empty());
      return;
    case AnswerKind::kTaken: {
      require(asked.has_value());
      const Bytes frame = expected_frame(*asked, answer.data);
      require(answer.size == frame.size() && std::equal(frame.begin(), frame.end(), input.begin()));
      if (asked->question.function == ModbusFunction::kReadCoils) {
        require(unpack_coils(answer.data, asked->question.count).size() == asked->question.count);
      }
      if (asked->question.function == ModbusFunction::kReadRegisters) {
        require(unpack_registers(answer.data).size() == asked->question.count);
      }
      return;
    }
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  if (size == 0) return 0;
  const std::optional<ModbusAsked> asked = question_of(data[0]);
  std::span<const std::uint8_t> input(data + 1, size - 1);
  while (true) {
    const ModbusAnswer answer = parse_answer(input, asked, kGivenUp);
    check(input, asked, answer);
    // A prefix is incomplete or says the same.
    for (std::size_t n = 0; n < std::min(input.size(), kModbusLongest); ++n) {
      const ModbusAnswer early = parse_answer(input.first(n), asked, kGivenUp);
      require(early.kind == AnswerKind::kIncomplete || early.kind == answer.kind);
      require(early.size == 0 || early.size == answer.size);
    }
    if (answer.size == 0) return 0;
    input = input.subspan(answer.size);
  }
}
