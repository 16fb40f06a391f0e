// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/modbus_answer.h"

#include <algorithm>

#include "base/expects.h"

namespace crestgate::driver {
namespace {

constexpr std::size_t kUnitAndFunction = 2;
constexpr std::size_t kExceptionLength = 3;  // unit, function, code
constexpr unsigned kExceptionBit = 0x80;

constexpr unsigned kMostCoilsRead = 2000;
constexpr unsigned kMostRegistersRead = 125;
constexpr unsigned kMostCoilsWritten = 1968;
constexpr unsigned kMostRegistersWritten = 123;

bool reads(ModbusFunction function) {
  return function == ModbusFunction::kReadCoils || function == ModbusFunction::kReadRegisters;
}

unsigned most(ModbusFunction function) {
  switch (function) {
    case ModbusFunction::kReadCoils:
      return kMostCoilsRead;
    case ModbusFunction::kReadRegisters:
      return kMostRegistersRead;
    case ModbusFunction::kWriteCoils:
      return kMostCoilsWritten;
    case ModbusFunction::kWriteRegisters:
      return kMostRegistersWritten;
  }
  return 0;
}

std::size_t data_size(ModbusFunction function, std::uint16_t count) {
  const bool coils = function == ModbusFunction::kReadCoils || function == ModbusFunction::kWriteCoils;
  return coils ? (count + 7U) / 8U : 2U * count;
}

// What the header of the right answer says: unit, function, then byte count and data, or address and count.
std::size_t answer_length(const ModbusQuestion& question) {
  return kUnitAndFunction + (reads(question.function) ? 1 + data_size(question.function, question.count) : 4);
}

std::uint16_t word_at(std::span<const std::uint8_t> bytes, std::size_t at) {
  return static_cast<std::uint16_t>((unsigned{bytes[at]} << 8U) | bytes[at + 1]);
}

void put_word(std::vector<std::uint8_t>& bytes, std::size_t word) {
  bytes.push_back(static_cast<std::uint8_t>((word >> 8U) & 0xFFU));
  bytes.push_back(static_cast<std::uint8_t>(word & 0xFFU));
}

ModbusAnswer malformed(std::string_view fault) {
  ModbusAnswer answer;
  answer.kind = AnswerKind::kMalformed;
  answer.fault = fault;
  return answer;
}

// `frame` is whole and its header belongs to the open question.
ModbusAnswer parse_own(std::span<const std::uint8_t> frame, const ModbusQuestion& question) {
  ModbusAnswer answer;
  answer.size = frame.size();
  const unsigned function = frame[kModbusHeader];
  const auto asked = static_cast<unsigned>(question.function);
  const std::span<const std::uint8_t> body = frame.subspan(kModbusHeader + 1);
  if (function == (asked | kExceptionBit)) {
    if (body.size() != 1) return malformed("an exception of a wrong length");
    answer.kind = AnswerKind::kException;
    answer.exception = body[0];
    return answer;
  }
  if (function != asked) return malformed("the function of another question");
  if (kModbusHeader - 1 + answer_length(question) != frame.size()) return malformed("a wrong length");
  answer.kind = AnswerKind::kTaken;
  if (!reads(question.function)) {
    const bool echoed = word_at(body, 0) == question.first && word_at(body, 2) == question.count;
    return echoed ? answer : malformed("another address or count than was written");
  }
  if (body[0] != body.size() - 1) return malformed("a wrong byte count");
  answer.data = body.subspan(1);
  return answer;
}

}  // namespace

ModbusQuestion ask_registers(std::uint16_t first, std::uint16_t count) {
  return {.function = ModbusFunction::kReadRegisters, .first = first, .count = count, .data = {}};
}

ModbusQuestion ask_coils(std::uint16_t first, std::uint16_t count) {
  return {.function = ModbusFunction::kReadCoils, .first = first, .count = count, .data = {}};
}

ModbusQuestion tell_registers(std::uint16_t first, std::span<const std::uint16_t> registers) {
  ModbusQuestion question{.function = ModbusFunction::kWriteRegisters,
                          .first = first,
                          .count = static_cast<std::uint16_t>(registers.size()),
                          .data = {}};
  for (const std::uint16_t word : registers) put_word(question.data, word);
  return question;
}

ModbusQuestion tell_coils(std::uint16_t first, const std::vector<bool>& coils) {
  ModbusQuestion question{.function = ModbusFunction::kWriteCoils,
                          .first = first,
                          .count = static_cast<std::uint16_t>(coils.size()),
                          .data = std::vector<std::uint8_t>((coils.size() + 7) / 8, 0)};
  for (std::size_t i = 0; i < coils.size(); ++i) {
    if (!coils[i]) continue;
    std::uint8_t& byte = question.data[i / 8];
    byte = static_cast<std::uint8_t>(unsigned{byte} | (1U << (i % 8)));
  }
  return question;
}

std::vector<std::uint16_t> unpack_registers(std::span<const std::uint8_t> data) {
  std::vector<std::uint16_t> registers;
  for (std::size_t at = 0; at + 1 < data.size(); at += 2) registers.push_back(word_at(data, at));
  return registers;
}

std::vector<bool> unpack_coils(std::span<const std::uint8_t> data, std::uint16_t count) {
  CRESTGATE_EXPECTS(data.size() * 8 >= count);
  std::vector<bool> coils;
  for (std::size_t i = 0; i < count; ++i) coils.push_back(((unsigned{data[i / 8]} >> (i % 8)) & 1U) != 0);
  return coils;
}

std::vector<std::uint8_t> request_bytes(const ModbusAsked& asked) {
  const ModbusQuestion& question = asked.question;
  const bool writes = !reads(question.function);
  CRESTGATE_EXPECTS(question.count >= 1 && question.count <= most(question.function));
  CRESTGATE_EXPECTS(question.data.size() == (writes ? data_size(question.function, question.count) : 0));
  std::vector<std::uint8_t> bytes;
  put_word(bytes, asked.transaction);
  put_word(bytes, 0);
  put_word(bytes, kUnitAndFunction + 4 + (writes ? 1 + question.data.size() : 0));
  bytes.push_back(asked.unit);
  bytes.push_back(static_cast<std::uint8_t>(question.function));
  put_word(bytes, question.first);
  put_word(bytes, question.count);
  if (writes) bytes.push_back(static_cast<std::uint8_t>(question.data.size()));
  bytes.insert(bytes.end(), question.data.begin(), question.data.end());
  return bytes;
}

ModbusAnswer parse_answer(std::span<const std::uint8_t> input, const std::optional<ModbusAsked>& asked,
                          std::span<const std::uint16_t> given_up) {
  if (input.size() < kModbusHeader) return {};
  const ModbusHeader header = read_modbus_header(input.first<kModbusHeader>());
  if (!is_modbus_header(header)) return malformed("no Modbus header");
  const std::size_t whole = kModbusHeader - 1 + header.length;
  if (asked && header.transaction == asked->transaction) {
    if (header.unit != asked->unit) return malformed("the unit of another device");
    if (header.length != answer_length(asked->question) && header.length != kExceptionLength) {
      return malformed("a wrong length");
    }
    return input.size() < whole ? ModbusAnswer{} : parse_own(input.first(whole), asked->question);
  }
  if (std::find(given_up.begin(), given_up.end(), header.transaction) == given_up.end()) {
    return malformed("the number of a question that is not open");
  }
  ModbusAnswer late;
  if (input.size() < whole) return late;
  late.kind = AnswerKind::kLate;
  late.size = whole;
  late.transaction = header.transaction;
  return late;
}

std::string_view exception_words(std::uint8_t code) {
  switch (code) {
    case 1:
      return "illegal function";
    case 2:
      return "illegal data address";
    case 3:
      return "illegal data value";
    case 4:
      return "server device failure";
    case 5:
      return "acknowledge: it takes longer";
    case 6:
      return "server device busy";
    case 8:
      return "memory parity error";
    case 10:
      return "gateway path unavailable";
    case 11:
      return "gateway target device failed to respond";
    default:
      return "unknown exception";
  }
}

std::string in_words(const ModbusQuestion& question) {
  const bool coils =
      question.function == ModbusFunction::kReadCoils || question.function == ModbusFunction::kWriteCoils;
  return std::string(reads(question.function) ? "reading " : "writing ") + std::to_string(question.count) +
         (coils ? " coils from " : " holding registers from ") + std::to_string(question.first);
}

base::ErrorCode exception_error(std::uint8_t code) {
  switch (code) {
    case 1:
      return base::ErrorCode::kNotSupported;
    case 2:
      return base::ErrorCode::kOutOfRange;
    case 4:
    case 8:
      return base::ErrorCode::kDeviceFault;
    case 5:
    case 6:
      return base::ErrorCode::kBusy;
    case 10:
    case 11:
      return base::ErrorCode::kNoReply;
    default:
      return base::ErrorCode::kRefused;
  }
}

}  // namespace crestgate::driver
