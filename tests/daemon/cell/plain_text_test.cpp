// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plain_text.h"

#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/config/document.h"

namespace crestgate::cell {
namespace {

TEST(PlainText, TakesWhatPeopleWrite) {
  EXPECT_FALSE(
      complaint_about_text("\xEF\xBB\xBFname = \"Exzenter für 8 µm\" # Prüfplan\r\nshort = 'µ\\'\n"));
  EXPECT_FALSE(complaint_about_text("a = \"say \\\"µ\\\"\"\n\tb = ''\n"));
  EXPECT_FALSE(complaint_about_text(""));
}

// Source: the parser's own table of white space; the first one was found by the fuzzer, as U+0424.
TEST(PlainText, RefusesWhatTheParserCannotTake) {
  struct Row {
    const char* text;
    int line;
  };
  for (const Row& row : {Row{"a = 1\nb = \xD0\xA4 2\n", 2}, Row{"a = 1 \xC3\xBC", 1},
                         Row{"a = \"x\ny\"\n", 1}, Row{"a = \"\"\"x\"\"\"", 1}, Row{"# x\f\xC3\xBC = 1", 1},
                         Row{"# x\xE2\x80\xA8 = 1", 1}, Row{"a = 1\rb = 2\n", 1}, Row{"a = \"x\\\"", 1}}) {
    const auto complaint = complaint_about_text(row.text);
    ASSERT_TRUE(complaint.has_value()) << row.text;
    EXPECT_EQ(complaint->line, row.line) << row.text;
    const auto parsed = parse_document(row.text, "plan.toml");
    ASSERT_FALSE(parsed.has_value());
    EXPECT_EQ(parsed.error().detail.rfind("plan.toml line " + std::to_string(row.line) + ": ", 0), 0U)
        << parsed.error().detail;
  }
}

}  // namespace
}  // namespace crestgate::cell
