// SPDX-License-Identifier: Apache-2.0
// Properties of label layouts: what is printed is read back, and nothing that comes does harm.
#include <array>
#include <limits>
#include <random>
#include <stdexcept>
#include <utility>

#include <gtest/gtest.h>

#include "daemon/cell/config/label_layout.h"

namespace crestgate::cell {
namespace {

using base::ErrorCode;
using base::PartIdentity;

LabelLayout layout_of(std::string_view text) {
  auto layout = LabelLayout::parse(text);
  if (!layout) throw std::invalid_argument(layout.error().detail);
  return *std::move(layout);
}

constexpr std::array kPlaceholders = {"{part_id}", "{batch}", "{machine}",    "{stage}",
                                      "{spindle}", "{wheel}", "{dress_count}"};

class Chance {
 public:
  explicit Chance(unsigned seed) : engine_(seed) {}
  std::size_t below(std::size_t limit) {
    return std::uniform_int_distribution<std::size_t>(0, limit - 1)(engine_);
  }
  std::string text(std::string_view letters, std::size_t least, std::size_t most) {
    std::string made;
    for (std::size_t left = least + below(most - least + 1); left > 0; --left) {
      made += letters[below(letters.size())];
    }
    return made;
  }
  template <class T>
  std::optional<T> maybe(T value) {
    return below(4) == 0 ? std::nullopt : std::optional<T>(std::move(value));
  }
  template <class T>
  std::optional<T> number() {
    const auto most = static_cast<std::size_t>(std::numeric_limits<T>::max());
    return maybe(static_cast<T>(1 + below(below(2) == 0 ? 100 : most)));
  }

 private:
  std::mt19937 engine_;
};

std::string printed(const PartIdentity& identity, std::size_t field) {
  const auto number = [](const auto& value) { return value ? std::to_string(*value) : std::string(); };
  switch (field) {
    case 0:
      return identity.part_id.value_or("");
    case 1:
      return identity.batch.value_or("");
    case 2:
      return identity.machine.value_or("");
    case 3:
      return number(identity.stage);
    case 4:
      return number(identity.spindle);
    case 5:
      return number(identity.wheel);
    default:
      return number(identity.dress_count);
  }
}

TEST(LabelLayoutRandom, WhatALabelPrintsIsReadBack) {
  constexpr std::string_view kLetters = "ABCXYZabcxyz0123456789-_.";
  constexpr std::string_view kBetween = ";|/:#$ ";
  Chance chance(20'240'802);
  int named = 0;
  for (int turn = 0; turn < 20'000; ++turn) {
    const PartIdentity all{.part_id = chance.maybe(chance.text(kLetters, 1, 32)),
                           .batch = chance.maybe(chance.text(kLetters, 1, 32)),
                           .machine = chance.maybe(chance.text(kLetters, 1, 16)),
                           .stage = chance.number<std::uint16_t>(),
                           .spindle = chance.number<std::uint16_t>(),
                           .wheel = chance.number<std::uint32_t>(),
                           .dress_count = chance.number<std::uint32_t>()};
    std::array<std::size_t, 7> order = {0, 1, 2, 3, 4, 5, 6};
    for (std::size_t i = order.size(); i > 1; --i) std::swap(order[i - 1], order[chance.below(i)]);
    const std::size_t count = 1 + chance.below(order.size());
    // Brackets keep blanks of the text between from standing at the ends.
    std::string layout = "<" + chance.text(kBetween, 0, 3);
    std::string line = layout;
    std::array<bool, 7> used{};
    for (std::size_t i = 0; i < count; ++i) {
      const std::string after = i + 1 == count ? ">" : chance.text(kBetween, 1, 3);
      layout += kPlaceholders[order[i]] + after;
      line += printed(all, order[i]) + after;
      used[order[i]] = true;
    }
    PartIdentity expected;
    if (used[0]) expected.part_id = all.part_id;
    if (used[1]) expected.batch = all.batch;
    if (used[2]) expected.machine = all.machine;
    if (used[3]) expected.stage = all.stage;
    if (used[4]) expected.spindle = all.spindle;
    if (used[5]) expected.wheel = all.wheel;
    if (used[6]) expected.dress_count = all.dress_count;
    const auto read = layout_of(layout).read(line);
    if (expected == PartIdentity{}) {
      ASSERT_EQ(read.error().code, ErrorCode::kNoData) << layout << " " << line;
      continue;
    }
    ASSERT_TRUE(read.has_value()) << layout << " " << line << " " << read.error().detail;
    ASSERT_EQ(*read, expected) << layout << " " << line;
    ++named;
  }
  EXPECT_GT(named, 15'000);
}

bool is_one_clean_line(const std::string& text) {
  for (const char c : text) {
    if (c < 0x20 || c > 0x7E) return false;
  }
  return !text.empty();
}

TEST(LabelLayoutRandom, AnyLineGetsAnAnswerInOneLine) {
  Chance chance(3);
  std::string every;
  for (int byte = 0; byte < 256; ++byte) every += static_cast<char>(byte);
  every += ";;;;;;;;;;;;;;;;0000000000001111111111222222";
  const std::vector<LabelLayout> layouts = {layout_of("{part_id}"), layout_of("{part_id};{wheel}"),
                                            layout_of("{stage};{machine};{batch}"), layout_of("P{part_id}E")};
  int read = 0;
  for (int turn = 0; turn < 20'000; ++turn) {
    const std::string line = chance.text(every, 0, turn % 100 == 0 ? 5000 : 12);
    for (const LabelLayout& layout : layouts) {
      const auto identity = layout.read(line);
      if (identity) {
        ++read;
        ASSERT_LE(identity->part_id.value_or("").size(), 32U);
      } else {
        ASSERT_TRUE(is_one_clean_line(identity.error().detail)) << identity.error().detail;
        ASSERT_LT(identity.error().detail.size(), 400U);
      }
    }
  }
  EXPECT_GT(read, 100);
}

TEST(LabelLayoutRandom, AnyLayoutIsTakenOrRefusedInOneLine) {
  Chance chance(4);
  const std::array pieces = {"{part_id}", "{batch}", "{stage}", "{wheel}", "{",        "}",
                             ";",         " ",       "P",       "\x01",    "\xC3\x9C", "{x}"};
  int taken = 0;
  for (int turn = 0; turn < 50'000; ++turn) {
    std::string text;
    for (std::size_t left = chance.below(7); left > 0; --left) text += pieces[chance.below(pieces.size())];
    const auto layout = LabelLayout::parse(text);
    if (layout) {
      ++taken;
      ASSERT_FALSE(layout->text().empty());
    } else {
      ASSERT_TRUE(is_one_clean_line(layout.error().detail)) << layout.error().detail;
    }
  }
  EXPECT_GT(taken, 1000);
}

}  // namespace
}  // namespace crestgate::cell
