// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plain_text.h"

#include <string>
#include <variant>

#include <gtest/gtest.h>

#include "daemon/cell/config/document.h"

namespace crestgate::cell {
namespace {

TEST(PlainText, TakesWhatPeopleWrite) {
  const PlainText plain =
      plain_text("\xEF\xBB\xBFname = \"Exzenter für 8 µm\" # Prüfplan\r\nshort = 'µ' # \"\n");
  EXPECT_TRUE(plain.complaint.has_value());  // single quotes have no escapes
  EXPECT_EQ(plain_text("\xEF\xBB\xBFname = \"für 8 µm\" # Prüf\r\na = 'x'\n").text,
            "name = \"f\\U000000FCr 8 \\U000000B5m\" \na = 'x'\n");
  EXPECT_EQ(plain_text("a = \"say \\\"#\\\"\"#c").text, "a = \"say \\\"#\\\"\"");
  EXPECT_EQ(plain_text("").text, "");
}

TEST(PlainText, ATextComesThroughTheParserAsItWasWritten) {
  const std::string written = "Welle für 8 µm \xD0\xA4 \xE2\x82\xAC \xF0\x9F\x94\xA7";
  const auto document = parse_document("name = \"" + written + "\"\n", "plan.toml");
  ASSERT_TRUE(document.has_value()) << document.error().detail;
  const auto& members = std::get<Node::Table>(document->value);
  EXPECT_EQ(std::get<std::string>(members[0].node.value), written);
}

// Source: the parser's own table of white space; the first ones were found by the fuzzer.
TEST(PlainText, RefusesWhatTheParserCannotTake) {
  struct Row {
    const char* text;
    int line;
  };
  for (const Row& row :
       {Row{"a = 1\nb = \xD0\xA4 2\n", 2}, Row{"a = 1 \xC3\xBC", 1}, Row{"a = \"x\ny\"\n", 1},
        Row{"a = \"\"\"x\"\"\"", 1}, Row{"# x\f\xC3\xBC = 1", 1}, Row{"a = \"\xC3\"", 1},
        Row{"a = 1\rb = 2\n", 1}, Row{"a = \"x\\\"", 1}, Row{"a = \"\xED\xA0\x80\"", 1},
        Row{"a = \"\xC0\xAF\"", 1}, Row{"a = \"\\\xC3\xBC\"", 1}}) {
    const auto parsed = parse_document(row.text, "plan.toml");
    ASSERT_FALSE(parsed.has_value()) << row.text;
    EXPECT_EQ(parsed.error().detail.rfind("plan.toml line " + std::to_string(row.line) + ": ", 0), 0U)
        << parsed.error().detail;
  }
}

// Keys of the most parts in tables nested as deep as the parser takes them: what was too deep for a stack.
TEST(PlainText, WhatIsTooDeepIsRefused) {
  std::string key = "a";
  for (int part = 1; part < 8; ++part) key += ".a";
  std::string text = "1";
  for (int depth = 0; depth < 250; ++depth) text = "{" + key + " = " + text + "}";
  const auto parsed = parse_document(key + " = " + text + "\n", "plan.toml");
  ASSERT_FALSE(parsed.has_value());
  EXPECT_EQ(parsed.error().detail,
            "plan.toml line 1: expected tables and lists at most 32 deep in each other");
  EXPECT_FALSE(parse_document(key + ".a = 1\n", "plan.toml").has_value());
  EXPECT_TRUE(
      parse_document("a = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, "
                     "7.0, 8.0, 9.0]\n",
                     "plan.toml")
          .has_value());
}

}  // namespace
}  // namespace crestgate::cell
