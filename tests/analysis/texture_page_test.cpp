// SPDX-License-Identifier: Apache-2.0
// The page of the parameters says what the table computes.
#include <fstream>
#include <iterator>
#include <map>
#include <sstream>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/texture/parameter_list.h"
#include "analysis/texture/value_doubt.h"

namespace crestgate::analysis {
namespace {

std::string page() {
  std::ifstream file(CRESTGATE_SOURCE_DIR "/analysis/texture/TEXTURE.md");
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

struct Row {
  std::string unit;
  std::string scope;
};

std::vector<std::string> cells_of(const std::string& line) {
  std::vector<std::string> cells;
  std::istringstream stream(line);
  for (std::string cell; std::getline(stream, cell, '|');) {
    const std::size_t first = cell.find_first_not_of(' ');
    const std::size_t last = cell.find_last_not_of(' ');
    cells.push_back(first == std::string::npos ? "" : cell.substr(first, last - first + 1));
  }
  return cells;
}

// "| suffix | unit | scope | meaning |": the only table whose third column is E or S.
std::map<std::string, Row> rows_of_the_page() {
  std::map<std::string, Row> rows;
  std::istringstream text(page());
  for (std::string line; std::getline(text, line);) {
    const auto cells = cells_of(line);
    if (cells.size() > 4 && (cells[3] == "E" || cells[3] == "S")) rows[cells[1]] = {cells[2], cells[3]};
  }
  return rows;
}

TEST(TexturePage, NamesEveryParameterWithItsUnitAndScope) {
  const auto rows = rows_of_the_page();
  std::size_t entries = 0;
  for (const Parameter& parameter : parameter_list({})) {
    if (parameter.profile != 'R') continue;
    ++entries;
    const auto row = rows.find(parameter.name.symbol.substr(1));
    ASSERT_NE(row, rows.end()) << parameter.name.symbol;
    EXPECT_EQ(row->second.unit, parameter.name.unit) << parameter.name.symbol;
    const bool sections = parameter.of_profile->section != SectionValue::kNone;
    EXPECT_EQ(row->second.scope, sections ? "S" : "E") << parameter.name.symbol;
  }
  EXPECT_EQ(rows.size(), entries);
}

TEST(TexturePage, NamesEveryDoubt) {
  const std::string text = page();
  for (std::uint32_t bit = 0; bit < kValueDoubts; ++bit) {
    const std::string name(text_of(static_cast<ValueDoubt>(1U << bit)).name);
    EXPECT_NE(text.find(name), std::string::npos) << name;
  }
}

}  // namespace
}  // namespace crestgate::analysis
