// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/label_layout.h"

#include <stdexcept>
#include <utility>

#include <gtest/gtest.h>

namespace crestgate::cell {
namespace {

using base::ErrorCode;
using base::PartIdentity;

// What a test expects: everything else is unknown.
struct Said {
  std::optional<std::string> part_id{};
  std::optional<std::string> batch{};
  std::optional<std::string> machine{};
  std::optional<std::uint16_t> stage{};
  std::optional<std::uint16_t> spindle{};
  std::optional<std::uint32_t> wheel{};
  std::optional<std::uint32_t> dress_count{};
  friend bool operator==(const PartIdentity& found, const Said& said) {
    return found == PartIdentity{said.part_id, said.batch, said.machine,    said.stage,
                                 said.spindle, said.wheel, said.dress_count};
  }
};

LabelLayout layout_of(std::string_view text) {
  auto layout = LabelLayout::parse(text);
  if (!layout) throw std::invalid_argument(layout.error().detail);
  return *std::move(layout);
}

PartIdentity read_by(std::string_view layout, std::string_view line) {
  const auto identity = layout_of(layout).read(line);
  if (!identity) throw std::invalid_argument(identity.error().detail);
  return *identity;
}

base::Error refusal_by(std::string_view layout, std::string_view line) {
  const auto identity = layout_of(layout).read(line);
  if (identity) throw std::invalid_argument("it was read");
  return identity.error();
}

TEST(LabelLayout, APartIdMayBeAllThatALabelSays) {
  EXPECT_EQ(read_by("{part_id}", "P-1042"), (Said{.part_id = "P-1042"}));
}

TEST(LabelLayout, SeveralFieldsAreSeparatedByTheTextBetweenThem) {
  EXPECT_EQ(read_by("{part_id};{batch};{wheel};{dress_count}", "P-1042;B7;12;340"),
            (Said{.part_id = "P-1042", .batch = "B7", .wheel = 12, .dress_count = 340}));
  EXPECT_EQ(read_by("P{part_id} B{batch}", "P1042 B7"), (Said{.part_id = "1042", .batch = "7"}));
  EXPECT_EQ(read_by("<{machine}|{stage}|{spindle}>", "<G3|20|2>"),
            (Said{.machine = "G3", .stage = 20, .spindle = 2}));
}

TEST(LabelLayout, AValueEndsWhereTheTextAfterItOccursFirst) {
  EXPECT_EQ(read_by("{part_id}-{batch}", "A-B-C"), (Said{.part_id = "A", .batch = "B-C"}));
  EXPECT_EQ(read_by("{part_id}--{batch}", "A-B--C"), (Said{.part_id = "A-B", .batch = "C"}));
  EXPECT_EQ(refusal_by("{part_id};", "A;;").code, ErrorCode::kMalformed);
}

TEST(LabelLayout, BlanksAroundTheLineAndItsValuesAreDropped) {
  EXPECT_EQ(read_by("{part_id};{batch};{wheel}", "  P1  ; B 7 ;  9 \t"),
            (Said{.part_id = "P1", .batch = "B 7", .wheel = 9}));
  EXPECT_EQ(read_by("  P{part_id}  ", " P1 "), (Said{.part_id = "1"}));
}

TEST(LabelLayout, EmptyAndZeroAreUnknown) {
  EXPECT_EQ(read_by("{part_id};{batch};{machine};{stage};{spindle};{wheel};{dress_count}", "P1;;;;0;;0"),
            (Said{.part_id = "P1"}));
  EXPECT_EQ(read_by("{part_id};{batch}", ";B1"), (Said{.batch = "B1"}));
  EXPECT_EQ(read_by("{part_id}", "0"), (Said{.part_id = "0"})) << "a text, not a number";
}

TEST(LabelLayout, ALabelThatNamesNothingIsRefused) {
  EXPECT_EQ(refusal_by("{part_id}", "").code, ErrorCode::kNoData);
  EXPECT_EQ(refusal_by("{part_id}", "   ").code, ErrorCode::kNoData);
  EXPECT_EQ(refusal_by("{part_id};{wheel}", ";0").code, ErrorCode::kNoData);
}

TEST(LabelLayout, TheWholeLineMustMatch) {
  EXPECT_EQ(refusal_by("P{part_id} B{batch}", "X1 B7").detail,
            "the label \"X1 B7\" is not of the form \"P{part_id} B{batch}\": expected \"P\" at its begin");
  EXPECT_EQ(refusal_by("P{part_id} B{batch}", "P1-7").detail,
            "the label \"P1-7\" is not of the form \"P{part_id} B{batch}\": expected \" B\" after part_id");
  EXPECT_EQ(refusal_by("<{part_id}>", "<P1>x").detail,
            "the label \"<P1>x\" is not of the form \"<{part_id}>\": expected its end before \"x\"");
  EXPECT_EQ(refusal_by("P{part_id}", "p1").code, ErrorCode::kMalformed);
}

// The widths are those of the register table: 16, 16 and 8 registers of two characters each.
TEST(LabelLayout, TextsAreAsLongAsThePlcsBlockHolds) {
  const std::string name(32, 'x');
  const std::string machine(16, 'm');
  EXPECT_EQ(read_by("{part_id};{batch};{machine}", name + ";" + name + ";" + machine),
            (Said{.part_id = name, .batch = name, .machine = machine}));
  EXPECT_EQ(refusal_by("{part_id}", name + "x").code, ErrorCode::kOutOfRange);
  EXPECT_EQ(refusal_by("{batch}", name + "x").code, ErrorCode::kOutOfRange);
  const auto error = refusal_by("{machine}", machine + "m");
  EXPECT_EQ(error.code, ErrorCode::kOutOfRange);
  EXPECT_EQ(error.detail,
            "the label \"mmmmmmmmmmmmmmmmm\": machine: expected at most 16 characters, found 17");
}

TEST(LabelLayout, NumbersAreWholeAndFitThePlcsBlock) {
  EXPECT_EQ(read_by("{stage};{spindle};{wheel};{dress_count}", "65535;007;4294967295;4294967295"),
            (Said{.stage = 65535, .spindle = 7, .wheel = 4'294'967'295U, .dress_count = 4'294'967'295U}));
  for (const auto& [layout, line] : {std::pair{"{stage}", "65536"},
                                     {"{spindle}", "65536"},
                                     {"{wheel}", "4294967296"},
                                     {"{dress_count}", "99999999999999999999999999"}}) {
    EXPECT_EQ(refusal_by(layout, line).code, ErrorCode::kOutOfRange) << layout;
  }
  for (const char* line : {"-1", "+1", "1.0", "1e3", "0x10", "1 2", "seven", "12a", "99999999999x"}) {
    EXPECT_EQ(refusal_by("{wheel}", line).code, ErrorCode::kMalformed) << line;
  }
  EXPECT_EQ(refusal_by("W{wheel}", "W12a").detail,
            "the label \"W12a\": wheel: expected a whole number, found \"12a\"");
}

TEST(LabelLayout, ATextThatThePlcCouldNotSayIsRefused) {
  const auto error = refusal_by("{part_id}", "Teil-\xC3\x9C");
  EXPECT_EQ(error.code, ErrorCode::kMalformed);
  EXPECT_EQ(error.detail, "the label \"Teil-??\": part_id: expected printable ASCII, found \"Teil-??\"");
  EXPECT_EQ(read_by("N\xC2\xB0{part_id}", "N\xC2\xB0 12"), (Said{.part_id = "12"}))
      << "the text between may be any";
}

TEST(LabelLayout, AMistakeInTheLayoutIsNamed) {
  const std::vector<std::pair<std::string, std::string>> table = {
      {"", "label \"\": expected at least one placeholder, for example {part_id}"},
      {"P1", "label \"P1\": expected at least one placeholder, for example {part_id}"},
      {"{part}",
       "label \"{part}\": expected in braces one of: part_id, batch, machine, stage, spindle, wheel, "
       "dress_count; found \"part\""},
      {"{}",
       "label \"{}\": expected in braces one of: part_id, batch, machine, stage, spindle, wheel, "
       "dress_count; found \"\""},
      {"{batch};{batch}", "label \"{batch};{batch}\": {batch} stands twice"},
      {"{part_id}{batch}",
       "label \"{part_id}{batch}\": expected a text between {part_id} and {batch}, which says where the "
       "first one ends"},
      {"P{part_id", "label \"P{part_id\": the brace { at place 2 is never closed"},
      {"{part_id;{batch}", "label \"{part_id;{batch}\": the brace { at place 1 is never closed"},
      {"{part_id};batch}", "label \"{part_id};batch}\": the brace } at place 16 closes nothing"},
      {"{part_id}}", "label \"{part_id}}\": the brace } at place 10 closes nothing"},
      {"{part_id}\n{batch}", "label \"{part_id}?{batch}\": expected no control characters"},
  };
  for (const auto& [text, detail] : table) {
    const auto layout = LabelLayout::parse(text);
    ASSERT_FALSE(layout.has_value()) << text;
    EXPECT_EQ(layout.error().code, ErrorCode::kInvalidConfig);
    EXPECT_EQ(layout.error().detail, detail);
  }
}

}  // namespace
}  // namespace crestgate::cell
