// SPDX-License-Identifier: Apache-2.0
// Addresses, words and bits are written out from the register page, not taken from its constants.

#include "driver/signal/modbus/register_codec.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <string>

#include <gtest/gtest.h>

#include "driver/signal/modbus/register_page.h"

namespace crestgate::driver {
namespace {

base::CellSignal accepted() {
  base::CellSignal signal;
  signal.state = base::CellState::kResult;
  signal.lamp = base::Lamp::kGreen;
  signal.heartbeat = 4711;
  signal.sequence = 0x123456789ULL;
  signal.request_echo = 17;
  signal.stylus_clear = true;
  signal.result_valid = true;
  signal.gauge_online = true;
  signal.gauge_proved = true;
  signal.ledger_healthy = true;
  signal.verdict = base::Verdict::kAccept;
  signal.reason = base::Reason::kAllWithinLimits;
  signal.fate = base::Fate::kPass;
  signal.part_id = "SHAFT-1";
  signal.judgement_record = 0xDEADBEEF;
  signal.result_age_ms = 70000;
  signal.deciding_value = 0.412;
  signal.deciding_limit = -1.0;
  signal.deciding_symbol = "Ra";
  signal.deciding_zone = 2;
  signal.last = {"SHAFT-0", base::Verdict::kReject, base::Reason::kAboveUpperLimit, 65537};
  return signal;
}

TEST(RegisterCodec, AcceptStandsWhereThePageSaysIt) {
  const CellBlock block = encode_cell_block(accepted());
  EXPECT_EQ(block[0], 0x6789);
  EXPECT_EQ(block[74], 0x6789);
  EXPECT_EQ(block[1], 1);
  EXPECT_EQ(block[2], 4711);
  EXPECT_EQ(block[3], 4);
  EXPECT_EQ(block[4], 17);
  EXPECT_EQ(block[5], 0b0111'0000'1110);  // stylus clear, valid, accept, online, proved, ledger healthy
  EXPECT_EQ(block[6], 0xA5C3);
  EXPECT_EQ(block[7], 100);
  EXPECT_EQ(block[8], 1);
  EXPECT_EQ(block[16], 0);
  EXPECT_EQ(block[17], 412);  // nm
  EXPECT_EQ(block[18], 0xFFFF);
  EXPECT_EQ(block[19], 0xFC18);  // -1000
  EXPECT_EQ(block[20], 0x5261);  // "Ra"
  EXPECT_EQ(block[21], 0);
  EXPECT_EQ(block[28], 2);
  EXPECT_EQ(block[30], 1);
  EXPECT_EQ(block[31], 70000 - 65536);
  EXPECT_EQ(block[32], 0xDEAD);
  EXPECT_EQ(block[33], 0xBEEF);
  EXPECT_EQ(block[34], 0x5348);  // "SH"
  EXPECT_EQ(block[50], 0x5A3C);
  EXPECT_EQ(block[51], 101);
  EXPECT_EQ(block[52], 1);
  EXPECT_EQ(block[53], 0x5348);
  EXPECT_EQ(block[69], 0x47F1);  // 123456.0 is 47F12000h in IEEE 754
  EXPECT_EQ(block[70], 0x2000);
  EXPECT_EQ(block[71], 0xFFFE);  // -70000 is FFFEEE90h
  EXPECT_EQ(block[72], 0xEE90);
  EXPECT_EQ(block[73], 0x4142);  // "AB"
}

TEST(RegisterCodec, WithoutAValidResultNothingReadsAsAVerdict) {
  for (const base::Verdict verdict : {base::Verdict::kAccept, base::Verdict::kReject, base::Verdict::kNone}) {
    base::CellSignal signal = accepted();
    signal.verdict = verdict;
    signal.result_valid = false;
    const CellBlock block = encode_cell_block(signal);
    EXPECT_EQ(block[6], 0);
    EXPECT_EQ(block[5] & 0b11'1100, 0);
  }
}

TEST(RegisterCodec, ABypassIsNeverAnAccept) {
  base::CellSignal signal = accepted();
  signal.bypass_active = true;
  const CellBlock block = encode_cell_block(signal);
  EXPECT_EQ(block[6], 0);
  EXPECT_EQ(block[5] & 0b11'1100, 0);
  EXPECT_NE(block[5] & (1 << 11), 0);
}

TEST(RegisterCodec, RejectAndNoneHaveWordsAndBitsOfTheirOwn) {
  base::CellSignal signal = accepted();
  signal.verdict = base::Verdict::kReject;
  EXPECT_EQ(encode_cell_block(signal)[6], 0x5A3C);
  EXPECT_EQ(encode_cell_block(signal)[5] & 0b11'1100, 0b01'0100);
  signal.verdict = base::Verdict::kNone;
  EXPECT_EQ(encode_cell_block(signal)[6], 0x3CA5);
  EXPECT_EQ(encode_cell_block(signal)[5] & 0b11'1100, 0b10'0100);
}

TEST(RegisterCodec, NumbersThatAreNotThereReadAsNoValue) {
  base::CellSignal signal = accepted();
  for (const double bad : {std::nan(""), HUGE_VAL, -HUGE_VAL, 2147483.648, -2147483.648}) {
    signal.deciding_value = bad;
    const CellBlock block = encode_cell_block(signal);
    EXPECT_EQ(block[16], 0x8000) << bad;
    EXPECT_EQ(block[17], 0) << bad;
  }
  signal.deciding_value = 2147483.647;
  EXPECT_EQ(encode_cell_block(signal)[16], 0x7FFF);
  signal.deciding_value = std::nullopt;
  EXPECT_EQ(encode_cell_block(signal)[16], 0x8000);
}

TEST(RegisterCodec, APartThatWasNeverJudgedHasNoLastVerdict) {
  base::CellSignal signal = accepted();
  signal.last = {"SHAFT-9", base::Verdict::kNone, base::Reason::kNone, 0};
  EXPECT_EQ(encode_cell_block(signal)[50], 0);
  signal.last = {"SHAFT-9", base::Verdict::kNone, base::Reason::kGaugeSilent, 12};
  EXPECT_EQ(encode_cell_block(signal)[50], 0x3CA5);
  signal.last = {};
  EXPECT_EQ(encode_cell_block(signal)[50], 0);
}

TEST(RegisterCodec, EveryFlagHasItsOwnBit) {
  const auto flags_with = [](auto set) {
    base::CellSignal signal;
    set(signal);
    return encode_cell_block(signal)[5];
  };
  EXPECT_EQ(flags_with([](auto& s) { s.busy = true; }), 1U << 0U);
  EXPECT_EQ(flags_with([](auto& s) { s.stylus_clear = true; }), 1U << 1U);
  EXPECT_EQ(flags_with([](auto& s) { s.ready = true; }), 1U << 6U);
  EXPECT_EQ(flags_with([](auto& s) { s.hold = true; }), 1U << 7U);
  EXPECT_EQ(flags_with([](auto& s) { s.gauge_online = true; }), 1U << 8U);
  EXPECT_EQ(flags_with([](auto& s) { s.gauge_proved = true; }), 1U << 9U);
  EXPECT_EQ(flags_with([](auto& s) { s.ledger_healthy = true; }), 1U << 10U);
  EXPECT_EQ(flags_with([](auto& s) { s.operator_wanted = true; }), 1U << 12U);
}

TEST(RegisterCodec, ZeroAndEmptyMeanNotSupplied) {
  const base::PlcInputs inputs = decode_plc_block(PlcBlock{});
  EXPECT_EQ(inputs, base::PlcInputs{});
  EXPECT_FALSE(inputs.identity.part_id.has_value());
  EXPECT_FALSE(inputs.identity.wheel.has_value());
}

TEST(RegisterCodec, ThePlcBlockIsReadWhereThePageSaysIt) {
  PlcBlock block{};
  block[0] = 9;
  block[1] = 17;
  block[2] = 0b11011;
  block[3] = 2;
  block[4] = 0x6789;
  block[5] = 3;
  block[6] = 1;
  block[7] = 4;
  block[8] = 1;
  block[9] = 2;  // 65538
  block[11] = 90;
  block[12] = 5;
  block[13] = 15;
  block[16] = 0x5348;
  block[17] = 0x2D31;  // "SH-1"
  block[32] = 0x4230;  // "B0"
  block[48] = 0x4D20;  // "M " : trailing blanks are no name
  block[56] = 0x416E;
  block[57] = 0x6E00;  // "Ann"
  const base::PlcInputs inputs = decode_plc_block(block);
  EXPECT_EQ(inputs.heartbeat, 9);
  EXPECT_EQ(inputs.request_id, 17);
  EXPECT_TRUE(inputs.part_present);
  EXPECT_TRUE(inputs.abort);
  EXPECT_FALSE(inputs.bypass);
  EXPECT_TRUE(inputs.release);
  EXPECT_TRUE(inputs.manual_trigger);
  EXPECT_EQ(inputs.zone_in_position, 2);
  EXPECT_EQ(inputs.acknowledge, 0x6789);
  EXPECT_EQ(inputs.recipe, 3);
  EXPECT_EQ(inputs.identity.stage, 1);
  EXPECT_EQ(inputs.identity.spindle, 4);
  EXPECT_EQ(inputs.identity.wheel, 65538U);
  EXPECT_EQ(inputs.identity.dress_count, 90U);
  EXPECT_EQ(inputs.attempt, 5);
  EXPECT_EQ(inputs.bypass_minutes, 15);
  EXPECT_EQ(inputs.identity.part_id, "SH-1");
  EXPECT_EQ(inputs.identity.batch, "B0");
  EXPECT_EQ(inputs.identity.machine, "M");
  EXPECT_EQ(inputs.operator_name, "Ann");
}

TEST(RegisterPage, NamesEveryRegisterEveryReasonAndBothColumns) {
  const std::string page = register_page();
  const auto has = [&](const std::string& text) { return page.find(text) != std::string::npos; };
  for (const auto& field : registers::plc::kFields) EXPECT_TRUE(has("| " + std::string(field.name) + " |"));
  for (const auto& field : registers::cell::kFields) EXPECT_TRUE(has("| " + std::string(field.name) + " |"));
  for (const auto& text : base::kReasonTexts) EXPECT_TRUE(has("| " + std::string(text.name) + " |"));
  EXPECT_TRUE(has("| 1 | 40002 | unsigned 16 | request_id |"));
  EXPECT_TRUE(has("| 6 | 30007 | 106 | 40107 | unsigned 16 | verdict |"));
  EXPECT_TRUE(has("| 34-49 | 30035-30050 | 134-149 | 40135-40150 | text, 32 characters | part_id_echo |"));
  EXPECT_TRUE(has("A5C3h"));
  EXPECT_TRUE(has("did not change for 2 s, means **not accepted**"));
  EXPECT_TRUE(has("high word first"));
}

}  // namespace
}  // namespace crestgate::driver
