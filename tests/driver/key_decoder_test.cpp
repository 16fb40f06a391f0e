// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/key_decoder.h"

#include <random>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>
#include <linux/input.h>

#include "driver/scanner/key_table.h"
#include "typist.h"

namespace crestgate::driver {
namespace {

using tests::press;
using tests::release;

class KeyDecoderTest : public ::testing::Test {
 protected:
  void feed(const std::vector<input_event>& events) { feed(std::as_bytes(std::span(events))); }
  void feed(std::span<const std::byte> bytes) {
    decoder_.take(bytes, now_, lines_);
    for (LineNews& news : lines_.take_news()) {
      (news.fate == LineFate::kRead ? read_ : dropped_).push_back(std::move(news.text));
    }
  }
  using Texts = std::vector<std::string>;

  KeyDecoder decoder_;
  LineAssembler lines_{LineLimits{}};
  LineAssembler::Instant now_{std::chrono::hours(1)};
  Texts read_;
  Texts dropped_;
};

TEST_F(KeyDecoderTest, ALabelIsTyped) {
  feed(tests::type("P-1042;Batch_7"));
  EXPECT_EQ(read_, Texts{"P-1042;Batch_7"});
  EXPECT_EQ(dropped_, Texts{});
}

// Source  X Keyboard Extension data (xkb-data 2.35.1): symbols/us "basic", and keycodes/evdev, whose numbers
//         are the kernel's plus 8.
TEST_F(KeyDecoderTest, TheRowsOfTheUsLayoutStandForTheirCharacters) {
  struct Row {
    std::uint16_t first_code;
    std::string plain;
    std::string shifted;
  };
  const std::vector<Row> rows = {
      {2, "1234567890-=", "!@#$%^&*()_+"},
      {16, "qwertyuiop[]", "QWERTYUIOP{}"},
      {30, "asdfghjkl;'`", "ASDFGHJKL:\"~"},
      {43, "\\zxcvbnm,./", "|ZXCVBNM<>?"},
      {57, " ", " "},
  };
  std::size_t known = 0;
  for (const Row& row : rows) {
    for (std::size_t i = 0; i < row.plain.size(); ++i) {
      const auto code = static_cast<std::uint16_t>(row.first_code + i);
      EXPECT_EQ(character_of_key(code, false), row.plain[i]) << code;
      EXPECT_EQ(character_of_key(code, true), row.shifted[i]) << code;
      ++known;
    }
  }
  // The keypad from 71 on: 7 8 9 - / 4 5 6 + / 1 2 3 / 0 .; * is 55, / is 98, = is 117.
  const std::vector<std::pair<std::uint16_t, char>> keypad = {
      {71, '7'}, {72, '8'}, {73, '9'}, {74, '-'}, {75, '4'}, {76, '5'}, {77, '6'}, {78, '+'},
      {79, '1'}, {80, '2'}, {81, '3'}, {82, '0'}, {83, '.'}, {55, '*'}, {98, '/'}, {117, '='}};
  for (const auto& [code, character] : keypad) {
    EXPECT_EQ(character_of_key(code, false), character) << code;
    ++known;
  }
  std::size_t found = 0;
  for (int code = 0; code < 0x10000; ++code) {
    if (character_of_key(static_cast<std::uint16_t>(code), false)) ++found;
  }
  EXPECT_EQ(found, known) << "no other key stands for a character";
}

TEST_F(KeyDecoderTest, ShiftWithADigitOfTheKeypadIsNoCharacter) {
  EXPECT_FALSE(character_of_key(KEY_KP7, true).has_value());
  EXPECT_FALSE(character_of_key(KEY_KPDOT, true).has_value());
}

TEST_F(KeyDecoderTest, BothEntersEndALabel) {
  feed({press(KEY_A), press(KEY_ENTER), press(KEY_B), press(KEY_KPENTER)});
  EXPECT_EQ(read_, (Texts{"a", "b"}));
}

TEST_F(KeyDecoderTest, RepeatsAndReleasesAreNoCharacters) {
  feed({press(KEY_A), tests::key_event(KEY_A, 2), tests::key_event(KEY_A, 2), release(KEY_A),
        press(KEY_ENTER), tests::key_event(KEY_ENTER, 2), release(KEY_ENTER)});
  EXPECT_EQ(read_, Texts{"a"});
}

TEST_F(KeyDecoderTest, EachShiftHoldsUntilItIsReleased) {
  feed({press(KEY_LEFTSHIFT), press(KEY_RIGHTSHIFT), press(KEY_A), release(KEY_LEFTSHIFT), press(KEY_B),
        tests::key_event(KEY_RIGHTSHIFT, 2), press(KEY_C), release(KEY_RIGHTSHIFT), press(KEY_D),
        press(KEY_ENTER)});
  EXPECT_EQ(read_, Texts{"ABCd"});
}

TEST_F(KeyDecoderTest, AKeyWithoutACharacterSpoilsItsLabelOnly) {
  for (const int code : {KEY_CAPSLOCK, KEY_LEFTCTRL, KEY_RIGHTALT, KEY_TAB, KEY_BACKSPACE, KEY_F1}) {
    read_.clear();
    dropped_.clear();
    const auto key = static_cast<std::uint16_t>(code);
    feed({press(KEY_A), press(key), release(key), press(KEY_B), press(KEY_ENTER)});
    feed(tests::type("P1"));
    EXPECT_EQ(read_, Texts{"P1"}) << code;
    EXPECT_EQ(dropped_,
              Texts{"it holds the key number " + std::to_string(code) + ", which stands for no character"});
  }
}

TEST_F(KeyDecoderTest, OtherKindsOfEventsAreNoKeys) {
  input_event scancode{};
  scancode.type = EV_MSC;
  scancode.code = MSC_SCAN;
  scancode.value = KEY_B;
  input_event light{};
  light.type = EV_LED;
  light.code = LED_CAPSL;
  light.value = 1;
  feed({scancode, press(KEY_A), light, tests::report(), press(KEY_ENTER)});
  EXPECT_EQ(read_, Texts{"a"});
  EXPECT_EQ(dropped_, Texts{});
}

TEST_F(KeyDecoderTest, LostEventsSpoilTheLabelUnderWayAndItsTail) {
  feed({press(KEY_A), tests::lost(), press(KEY_X), press(KEY_ENTER), tests::report(), press(KEY_B),
        press(KEY_ENTER)});
  EXPECT_EQ(read_, Texts{}) << "the Enter before the report belongs to what is incomplete";
  EXPECT_EQ(dropped_, Texts{"keys were lost, because they were not fetched in time"});
  feed(tests::type("P1"));
  EXPECT_EQ(read_, Texts{"P1"});
}

TEST_F(KeyDecoderTest, AShiftWhoseReleaseWasLostDoesNotHoldForTheNextLabel) {
  feed({press(KEY_LEFTSHIFT), press(KEY_A), tests::lost(), tests::report(), press(KEY_ENTER)});
  feed({press(KEY_1), press(KEY_ENTER)});
  EXPECT_EQ(read_, Texts{"1"});
}

TEST_F(KeyDecoderTest, EventsMaySplitAnywhere) {
  const auto events = tests::type("Split 42");
  for (const std::byte byte : std::as_bytes(std::span(events))) feed(std::span(&byte, 1));
  EXPECT_EQ(read_, Texts{"Split 42"});
}

TEST_F(KeyDecoderTest, RandomBytesGiveOnlyCharactersOfTheTable) {
  std::mt19937 chance(7);
  std::uniform_int_distribution<int> any(0, 255);
  std::uniform_int_distribution<int> code(0, 130);
  std::uniform_int_distribution<int> value(0, 2);
  for (int i = 0; i < 20'000; ++i) {
    const std::byte byte{static_cast<unsigned char>(any(chance))};
    feed(std::span(&byte, 1));
  }
  decoder_ = KeyDecoder();
  for (int i = 0; i < 20'000; ++i) {
    feed({tests::key_event(static_cast<std::uint16_t>(code(chance)), value(chance)), press(KEY_A)});
    if (i % 5 == 0) feed({press(KEY_ENTER)});
  }
  EXPECT_GT(read_.size(), 100U);
  EXPECT_GT(dropped_.size(), 100U);
  for (const std::string& line : read_) {
    for (const char c : line) ASSERT_TRUE(c >= ' ' && c <= '~') << line;
  }
}

}  // namespace
}  // namespace crestgate::driver
