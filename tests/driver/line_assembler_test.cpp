// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/line_assembler.h"

#include <random>
#include <string_view>

#include <gtest/gtest.h>

#include "driver/scanner/readable_text.h"

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;

class LineAssemblerTest : public ::testing::Test {
 protected:
  void feed(std::string_view text) {
    for (const char c : text) {
      if (c == '\n') {
        lines_.end_line(now_);
      } else {
        lines_.take(c, now_);
      }
    }
    collect();
  }
  void pass(milliseconds time) { now_ += time; }
  // As a timer would, at the very moment that was asked for.
  void pass_to_deadline() {
    ASSERT_TRUE(lines_.deadline().has_value());
    now_ = *lines_.deadline();
    lines_.pass_time(now_);
    collect();
  }
  void collect() {
    for (LineNews& news : lines_.take_news()) {
      if (news.fate == LineFate::kRead) {
        read_.push_back(std::move(news.text));
      } else {
        dropped_.push_back(news.fate);
        why_ = std::move(news.text);
      }
    }
  }
  using Lines = std::vector<std::string>;
  using Fates = std::vector<LineFate>;

  LineAssembler lines_{LineLimits{}};
  LineAssembler::Instant now_{std::chrono::hours(1)};
  Lines read_;
  Fates dropped_;
  std::string why_;
};

TEST_F(LineAssemblerTest, EmptyLinesAreNoLines) {
  feed("\n\nA1\n\nB2\n\n");
  EXPECT_EQ(read_, (Lines{"A1", "B2"}));
  EXPECT_EQ(dropped_, Fates{});
  EXPECT_FALSE(lines_.deadline().has_value());
}

TEST_F(LineAssemblerTest, TheLongestLineIsReadAndOneMoreCharacterIsDroppedWhole) {
  const std::string longest(200, 'x');
  feed(longest + "\n");
  EXPECT_EQ(read_, Lines{longest});
  feed(longest + "y");
  EXPECT_EQ(dropped_, Fates{LineFate::kOverlong}) << "told as soon as it is certain";
  feed("tail\nnext\n");
  EXPECT_EQ(read_, (Lines{longest, "next"}));
  EXPECT_EQ(dropped_.size(), 1U);
}

// U+00E9 takes two bytes in UTF-8, U+1F600 four (Unicode Standard, table 3-6).
TEST_F(LineAssemblerTest, TheLimitCountsCharactersNotBytes) {
  std::string accents;
  for (int i = 0; i < 200; ++i) accents += "\xC3\xA9";
  feed(accents + "\n");
  std::string faces;
  for (int i = 0; i < 200; ++i) faces += "\xF0\x9F\x98\x80";
  feed(faces + "\n");
  EXPECT_EQ(read_, (Lines{accents, faces}));
  feed(accents + "\xC3\xA9\n");
  EXPECT_EQ(dropped_, Fates{LineFate::kOverlong});
}

TEST_F(LineAssemblerTest, BytesThatOnlyContinueCharactersAreBoundedToo) {
  feed(std::string(1'000'000, '\x80'));
  EXPECT_EQ(dropped_, Fates{LineFate::kOverlong});
}

TEST_F(LineAssemblerTest, AMegabyteWithoutALineEndIsOneLoss) {
  feed(std::string(1'000'000, 'x'));
  feed("\nP1\n");
  EXPECT_EQ(dropped_, Fates{LineFate::kOverlong});
  EXPECT_EQ(read_, Lines{"P1"});
}

TEST_F(LineAssemblerTest, BytesThatAreNoTextMakeTheLineUnreadableAndSayWhere) {
  using namespace std::string_view_literals;
  feed("P1\0002\nP3\n"sv);
  EXPECT_EQ(dropped_, Fates{LineFate::kUnreadable});
  EXPECT_EQ(why_, "byte 3 of 4 is 0x00, which is no printable text");
  EXPECT_EQ(read_, Lines{"P3"});
}

TEST_F(LineAssemblerTest, ASpoiledLineIsDroppedUpToItsEnd) {
  feed("AB");
  lines_.spoil("because", now_);
  lines_.spoil("once more", now_);
  feed("CD\nEF\n");
  EXPECT_EQ(dropped_, Fates{LineFate::kUnreadable});
  EXPECT_EQ(why_, "because");
  EXPECT_EQ(read_, Lines{"EF"});
}

TEST_F(LineAssemblerTest, ALineMayTakeAlmostTwoSeconds) {
  feed("P");
  pass(milliseconds(1999));
  feed("1\n");
  EXPECT_EQ(read_, Lines{"P1"});
}

TEST_F(LineAssemblerTest, AHalfLineIsNotGluedToTheNextOneEvenWithoutATimer) {
  feed("P12");
  pass(milliseconds(2000));
  feed("P345\n");
  EXPECT_EQ(read_, Lines{"P345"});
  EXPECT_EQ(dropped_, Fates{LineFate::kHalf});
}

TEST_F(LineAssemblerTest, ALateLineEndDoesNotSaveAHalfLine) {
  feed("P12");
  pass(milliseconds(5000));
  feed("\n");
  EXPECT_EQ(read_, Lines{});
  EXPECT_EQ(dropped_, Fates{LineFate::kHalf});
}

TEST_F(LineAssemblerTest, ATimerDropsAHalfLineAfterTwoSeconds) {
  feed("P12");
  const auto begun = now_;
  pass_to_deadline();
  EXPECT_EQ(now_ - begun, milliseconds(2000));
  EXPECT_EQ(dropped_, Fates{LineFate::kHalf});
  EXPECT_FALSE(lines_.deadline().has_value());
}

TEST_F(LineAssemblerTest, TheTailOfALineThatTrickledTooLongIsNoLine) {
  for (int i = 0; i < 5; ++i) {
    feed("x");
    pass(milliseconds(500));
  }
  EXPECT_EQ(dropped_, Fates{LineFate::kHalf});
  feed("tail\nnext\n");
  EXPECT_EQ(read_, Lines{"next"});
  EXPECT_EQ(dropped_.size(), 1U);
}

TEST_F(LineAssemblerTest, ALostLineEndDoesNotCostTheNextLabel) {
  feed(std::string(300, 'x'));
  pass_to_deadline();
  feed("P1\n");
  EXPECT_EQ(read_, Lines{"P1"});
  EXPECT_EQ(dropped_, Fates{LineFate::kOverlong}) << "one loss, counted once";
}

TEST_F(LineAssemblerTest, AnAbandonedLineIsHalf) {
  feed("P1");
  lines_.abandon();
  collect();
  lines_.abandon();
  feed("P2\n");
  EXPECT_EQ(dropped_, Fates{LineFate::kHalf});
  EXPECT_EQ(read_, Lines{"P2"});
}

// Whatever comes, only whole lines of printable text come out, and timers never stand still.
TEST_F(LineAssemblerTest, RandomStreamsGiveOnlyReadableLinesAndDeadlinesAhead) {
  std::mt19937 chance(20'240'801);
  std::uniform_int_distribution<int> what(0, 99);
  std::uniform_int_distribution<int> any(0, 255);
  for (int step = 0; step < 200'000; ++step) {
    const int choice = what(chance);
    if (choice < 2) pass(milliseconds(10 * any(chance)));
    if (choice < 4) {
      lines_.pass_time(now_);
    } else if (choice < 8) {
      lines_.end_line(now_);
    } else if (choice < 9) {
      lines_.take(static_cast<char>(any(chance)), now_);
    } else {
      lines_.take(static_cast<char>('A' + choice % 26), now_);
    }
    if (lines_.deadline()) {
      ASSERT_GT(*lines_.deadline() + milliseconds(2550), now_);
    }
  }
  collect();
  EXPECT_GT(read_.size(), 1000U);
  EXPECT_GT(dropped_.size(), 100U);
  for (const std::string& line : read_) {
    ASSERT_FALSE(line.empty());
    ASSERT_LE(line.size(), 800U);
    ASSERT_FALSE(unreadable_because(line).has_value());
  }
}

// Unicode Standard 15.0, 3.9: table 3-7, and the ill-formed sequences of tables 3-8 to 3-11.
TEST(ReadableText, IsWellFormedUtf8WithoutControls) {
  using namespace std::string_view_literals;
  for (const auto text : {""sv, " ~"sv, "\xC2\xA0"sv, "\xDF\xBF"sv, "\xE0\xA0\x80"sv, "\xED\x9F\xBF"sv,
                          "\xEE\x80\x80"sv, "\xF0\x90\x80\x80"sv, "\xF4\x8F\xBF\xBF"sv}) {
    EXPECT_FALSE(unreadable_because(text).has_value()) << *unreadable_because(text);
  }
  for (const auto text :
       {"\0"sv, "\t"sv, "\x1D"sv, "\x7F"sv, "\x80"sv, "\xC0\xAF"sv, "\xC1\x80"sv, "\xC2"sv, "\xC2\x80"sv,
        "\xC2\x9F"sv, "\xE0\x80\xBF"sv, "\xE1\x80"sv, "\xED\xA0\x80"sv, "\xF0\x81\x82\x41"sv,
        "\xF0\x8F\xBF\xBF"sv, "\xF4\x90\x80\x80"sv, "\xF5\x80\x80\x80"sv, "\xFF"sv}) {
    EXPECT_TRUE(unreadable_because(text).has_value()) << ::testing::PrintToString(text);
  }
}

}  // namespace
}  // namespace crestgate::driver
