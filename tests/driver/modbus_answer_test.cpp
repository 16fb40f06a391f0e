// SPDX-License-Identifier: Apache-2.0
// Frames: the examples of Modbus Application Protocol Specification V1.1b3 sections 6.1, 6.3, 6.11, 6.12.

#include "driver/signal/modbus/modbus_answer.h"

#include <gtest/gtest.h>

#include "driver/modbus_sockets.h"

namespace crestgate::driver {
namespace {

using tests::Bytes;
using tests::modbus_frame;

constexpr std::uint16_t kTransaction = 0x1501;

ModbusAsked asked(ModbusQuestion question) {
  return {.transaction = kTransaction, .unit = 17, .question = std::move(question)};
}
ModbusAnswer parse(const Bytes& input, const ModbusQuestion& question,
                   const std::vector<std::uint16_t>& given_up = {}) {
  return parse_answer(input, asked(question), given_up);
}
Bytes own(const Bytes& pdu) { return modbus_frame(kTransaction, 17, pdu); }

// Section 6.11: ten coils from 20 (address 19), CD 01.
const std::vector<bool> kTenCoils{true, false, true, true, false, false, true, true, true, false};

TEST(ModbusAnswer, QuestionsAreTheExamplesOfTheSpecification) {
  EXPECT_EQ(request_bytes(asked(ask_coils(19, 19))), own({1, 0, 0x13, 0, 0x13}));
  EXPECT_EQ(request_bytes(asked(ask_registers(0x6B, 3))), own({3, 0, 0x6B, 0, 3}));
  EXPECT_EQ(request_bytes(asked(tell_coils(19, kTenCoils))), own({15, 0, 0x13, 0, 0x0A, 2, 0xCD, 1}));
  const std::vector<std::uint16_t> two{0x000A, 0x0102};
  EXPECT_EQ(request_bytes(asked(tell_registers(1, two))), own({16, 0, 1, 0, 2, 4, 0, 0x0A, 1, 2}));
}

TEST(ModbusAnswer, AnswersAreTheExamplesOfTheSpecification) {
  const Bytes coils_frame = own({1, 3, 0xCD, 0x6B, 0x05});
  const ModbusAnswer coils = parse(coils_frame, ask_coils(19, 19));
  ASSERT_EQ(coils.kind, AnswerKind::kTaken);
  EXPECT_EQ(coils.size, coils_frame.size());
  // Coils 27 to 20 are CD (1100 1101), 35 to 28 are 6B (0110 1011), 38 to 36 are 05 (101).
  const std::vector<bool> expected{true,  false, true,  true, false, false, true, true,  true, true,
                                   false, true,  false, true, true,  false, true, false, true};
  EXPECT_EQ(unpack_coils(coils.data, 19), expected);
  const Bytes registers_frame = own({3, 6, 0x02, 0x2B, 0, 0, 0, 0x64});
  const ModbusAnswer registers = parse(registers_frame, ask_registers(0x6B, 3));
  ASSERT_EQ(registers.kind, AnswerKind::kTaken);
  EXPECT_EQ(unpack_registers(registers.data), (std::vector<std::uint16_t>{0x022B, 0, 0x64}));
  EXPECT_EQ(parse(own({15, 0, 0x13, 0, 0x0A}), tell_coils(19, kTenCoils)).kind, AnswerKind::kTaken);
  const std::vector<std::uint16_t> two{0x000A, 0x0102};
  EXPECT_EQ(parse(own({16, 0, 1, 0, 2}), tell_registers(1, two)).kind, AnswerKind::kTaken);
}

TEST(ModbusAnswer, EveryProperPrefixIsIncomplete) {
  const Bytes whole = own({3, 6, 0x02, 0x2B, 0, 0, 0, 0x64});
  for (std::size_t n = 0; n < whole.size(); ++n) {
    EXPECT_EQ(
        parse({whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(n)}, ask_registers(0x6B, 3)).kind,
        AnswerKind::kIncomplete)
        << n;
  }
}

TEST(ModbusAnswer, NothingThatFitsNoQuestionIsTaken) {
  const ModbusQuestion question = ask_registers(0x6B, 3);
  Bytes protocol = own({3, 6, 0, 0, 0, 0, 0, 0});
  protocol[3] = 1;
  const std::vector<Bytes> wrong = {
      protocol,
      own({3, 4, 0, 0, 0, 0, 0, 0}),        // lying byte count
      own({3, 4, 0, 0, 0, 0}),              // fewer registers than asked for
      own({3, 8, 0, 0, 0, 0, 0, 0, 0, 0}),  // more
      own({4, 6, 0, 0, 0, 0, 0, 0}),        // another function
      own({0x84, 2}),                       // its exception
      own({3, 6}),                          // as long as an exception
      modbus_frame(kTransaction, 18, {3, 6, 0, 0, 0, 0, 0, 0}),
      modbus_frame(kTransaction + 1, 17, {3, 6, 0, 0, 0, 0, 0, 0}),
      modbus_frame(kTransaction - 1, 17, {3, 6, 0, 0, 0, 0, 0, 0}),
      modbus_frame(kTransaction, 17, {}),
      {0x15, 0x01, 0, 0, 0, 0, 17},
      {0x15, 0x01, 0, 0, 0xFF, 0xFF, 17},
  };
  for (const Bytes& frame : wrong) {
    const ModbusAnswer answer = parse(frame, question);
    EXPECT_EQ(answer.kind, AnswerKind::kMalformed) << ::testing::PrintToString(frame);
    EXPECT_FALSE(answer.fault.empty());
  }
}

TEST(ModbusAnswer, ALengthThatCannotBeRightIsFoundAtTheHeader) {
  const Bytes header{0x15, 0x01, 0, 0, 0, 200, 17};
  EXPECT_EQ(parse(header, ask_registers(0x6B, 3)).kind, AnswerKind::kMalformed);
}

TEST(ModbusAnswer, AWriteIsOnlyAnsweredByItsOwnEcho) {
  const std::vector<std::uint16_t> two{1, 2};
  EXPECT_EQ(parse(own({16, 0, 1, 0, 3}), tell_registers(1, two)).kind, AnswerKind::kMalformed);
  EXPECT_EQ(parse(own({16, 0, 2, 0, 2}), tell_registers(1, two)).kind, AnswerKind::kMalformed);
}

TEST(ModbusAnswer, AnExceptionIsHandedOutWithItsCode) {
  const ModbusAnswer answer = parse(own({0x83, 2}), ask_registers(0x6B, 3));
  EXPECT_EQ(answer.kind, AnswerKind::kException);
  EXPECT_EQ(answer.exception, 2);
  EXPECT_EQ(answer.size, 9U);
  EXPECT_EQ(exception_words(2), "illegal data address");
  EXPECT_EQ(exception_words(11), "gateway target device failed to respond");
  EXPECT_EQ(exception_words(77), "unknown exception");
}

TEST(ModbusAnswer, OnlyAnswersThatWereGivenUpAreLate) {
  const Bytes old = modbus_frame(7, 17, {16, 0, 0, 0, 2});
  EXPECT_EQ(parse(old, ask_registers(0, 1)).kind, AnswerKind::kMalformed);
  const ModbusAnswer late = parse(old, ask_registers(0, 1), {6, 7});
  EXPECT_EQ(late.kind, AnswerKind::kLate);
  EXPECT_EQ(late.transaction, 7);
  EXPECT_EQ(late.size, old.size());
  const std::vector<std::uint16_t> given_up{7};
  EXPECT_EQ(parse_answer(old, std::nullopt, given_up).kind, AnswerKind::kLate);
  EXPECT_EQ(parse_answer(own({3, 2, 0, 0}), std::nullopt, given_up).kind, AnswerKind::kMalformed);
}

}  // namespace
}  // namespace crestgate::driver
