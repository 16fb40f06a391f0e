// SPDX-License-Identifier: Apache-2.0
#pragma once
// The client's side of the wire, pure: a question into the bytes of a request, and bytes that came into the
// answer to it. Any bytes are safe.
//
// Source  Modbus Application Protocol Specification V1.1b3 sections 6.1, 6.3, 6.11, 6.12 (functions 1, 3, 15,
//         16) and 7 (exceptions); header: Modbus Messaging on TCP/IP Implementation Guide V1.0b section 3.1.3.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"
#include "driver/signal/modbus/request_check.h"

namespace crestgate::driver {

enum class ModbusFunction : std::uint8_t {
  kReadCoils = 1,
  kReadRegisters = 3,  // holding registers
  kWriteCoils = 15,
  kWriteRegisters = 16,  // holding registers
};

struct ModbusQuestion {
  ModbusFunction function = ModbusFunction::kReadRegisters;
  std::uint16_t first = 0;
  std::uint16_t count = 0;         // registers or coils
  std::vector<std::uint8_t> data;  // what is written, as it stands on the wire (pack_...); empty for reads
};

[[nodiscard]] ModbusQuestion ask_registers(std::uint16_t first, std::uint16_t count);
[[nodiscard]] ModbusQuestion ask_coils(std::uint16_t first, std::uint16_t count);
[[nodiscard]] ModbusQuestion tell_registers(std::uint16_t first, std::span<const std::uint16_t> registers);
[[nodiscard]] ModbusQuestion tell_coils(std::uint16_t first, const std::vector<bool>& coils);

// The data of a read's answer.  Pre  as many bytes as `count` asks for.
[[nodiscard]] std::vector<std::uint16_t> unpack_registers(std::span<const std::uint8_t> data);
[[nodiscard]] std::vector<bool> unpack_coils(std::span<const std::uint8_t> data, std::uint16_t count);

// What an answer must fit.
struct ModbusAsked {
  std::uint16_t transaction = 0;
  std::uint8_t unit = 0;
  ModbusQuestion question;
};

// The whole request.  Pre  the count is within the function's limits and the data fit it.
[[nodiscard]] std::vector<std::uint8_t> request_bytes(const ModbusAsked& asked);

enum class AnswerKind : std::uint8_t {
  kIncomplete,  // more bytes are needed
  kLate,        // a whole answer to a question that was given up: throw `size` bytes away
  kTaken,       // the answer; `data` holds what was read, `size` bytes are used up
  kException,   // refused with `exception`; `size` bytes are used up
  kMalformed,   // no answer to anything that was asked: the position in the stream is lost
};

struct ModbusAnswer {
  AnswerKind kind = AnswerKind::kIncomplete;
  std::size_t size = 0;
  std::uint16_t transaction = 0;       // kLate: which one
  std::uint8_t exception = 0;          // kException
  std::span<const std::uint8_t> data;  // kTaken after a read; points into the input
  std::string_view fault;              // kMalformed: what is wrong
};

// Purpose  looks at the first answer in `input`. A length that cannot be right is found as soon as the header
//          is there. Bits beyond the last coil are not looked at.
// Pre      `asked`: the open question, nothing: there is none, and only late answers may come.
//          `given_up`: transactions whose answers may still come.
[[nodiscard]] ModbusAnswer parse_answer(std::span<const std::uint8_t> input,
                                        const std::optional<ModbusAsked>& asked,
                                        std::span<const std::uint16_t> given_up);

// "illegal data address" for 2; a code that is in no table: "unknown exception".
[[nodiscard]] std::string_view exception_words(std::uint8_t code);

// What the asker can do about it: kNotSupported (1), kOutOfRange (2), kBusy (5, 6), kDeviceFault (4, 8),
// kNoReply (10, 11), kRefused (3 and unknown ones).
[[nodiscard]] base::ErrorCode exception_error(std::uint8_t code);

// "writing 75 holding registers from 100"
[[nodiscard]] std::string in_words(const ModbusQuestion& question);

}  // namespace crestgate::driver
