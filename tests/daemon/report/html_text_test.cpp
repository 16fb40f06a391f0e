// SPDX-License-Identifier: Apache-2.0
#include "daemon/report/markup/html_text.h"

#include <string>

#include <gtest/gtest.h>

#include "daemon/report/cabinet/seconds_text.h"

namespace crestgate::report {
namespace {

// XML 1.0, clause 2.4: these must not stand in content or in a quoted attribute value as they are.
TEST(HtmlText, EscapesWhatWouldBeMarkup) {
  EXPECT_EQ(escaped("<b a=\"1\">&amp;"), "&lt;b a=&quot;1&quot;&gt;&amp;amp;");
}

// XML 1.0, clause 2.2: no control characters but tab, line feed and carriage return.
TEST(HtmlText, ControlCharactersBecomeSpaces) {
  EXPECT_EQ(escaped(std::string("a\0b\x1b[1m\x7f", 8)), "a b [1m ");
}

TEST(HtmlText, LettersBeyondAsciiStay) { EXPECT_EQ(escaped("Prüfstand \xC2\xB5m"), "Prüfstand \xC2\xB5m"); }

TEST(HtmlText, ASentenceBeginsLarge) {
  EXPECT_EQ(sentence("the gauge"), "The gauge");
  EXPECT_EQ(sentence("PLC"), "PLC");
  EXPECT_EQ(sentence("<x"), "&lt;x");
  EXPECT_EQ(sentence(""), "");
}

TEST(HtmlText, RangesArePaddedAndSingleOnesStandAlone) {
  EXPECT_EQ(range_text({.first = 7}), "7");
  EXPECT_EQ(range_text({.first = 16, .count = 16}), "16-31");
  EXPECT_EQ(range_text({.first = 1, .count = 2, .width = 5}), "00001-00002");
}

TEST(HtmlText, HexWordsHaveFourDigits) {
  EXPECT_EQ(hex_word(0), "0000h");
  EXPECT_EQ(hex_word(0xA5C3), "A5C3h");
}

TEST(HtmlTable, EveryRowHasAHeaderCellAndTheColumnsTheirHeadings) {
  HtmlTable table("Numbers & words", "t", {{"n", "num"}, {"word", ""}});
  table.row({"1", "one"}, "row-1");
  EXPECT_EQ(table.markup(),
            "<table class=\"t\">\n<caption>Numbers &amp; words</caption>\n<colgroup><col class=\"num\" "
            "/><col /></colgroup>\n"
            "<thead><tr><th scope=\"col\" class=\"num\">n</th><th scope=\"col\">word</th></tr></thead>\n"
            "<tbody>\n<tr id=\"row-1\"><th scope=\"row\" "
            "class=\"num\">1</th><td>one</td></tr>\n</tbody>\n</table>\n");
}

TEST(HtmlTable, AGroupStandsBesideItsRows) {
  HtmlTable table("t", "", {{"g", ""}, {"n", ""}, {"word", ""}});
  table.group("first", 2);
  table.row({"1", "one"});
  table.row({"2", "two"});
  const std::string markup = table.markup();
  EXPECT_NE(
      markup.find(
          "<tr><th scope=\"rowgroup\" rowspan=\"2\">First</th><th scope=\"row\">1</th><td>one</td></tr>\n"
          "<tr><th scope=\"row\">2</th>"),
      std::string::npos)
      << markup;
}

TEST(SecondsText, IsExactAndShort) {
  EXPECT_EQ(seconds_text(0), "0 s");
  EXPECT_EQ(seconds_text(30'000), "30 s");
  EXPECT_EQ(seconds_text(12'500), "12.5 s");
  EXPECT_EQ(seconds_text(250), "0.25 s");
  EXPECT_EQ(seconds_text(2'007), "2.007 s");
}

}  // namespace
}  // namespace crestgate::report
