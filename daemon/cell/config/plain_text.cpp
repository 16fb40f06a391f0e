// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plain_text.h"

#include <cstddef>

namespace crestgate::cell {
namespace {

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";
// What Unicode, but not TOML, calls the end of a line.
constexpr std::string_view kOtherLineEnds[] = {"\xC2\x85", "\xE2\x80\xA8", "\xE2\x80\xA9"};

bool is_control(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return (byte < 0x20 && c != '\t') || byte == 0x7F;
}

std::optional<std::string> complaint_about_line(std::string_view line) {
  for (const char c : line) {
    if (is_control(c)) return "expected no control characters";
  }
  for (const std::string_view end : kOtherLineEnds) {
    if (line.find(end) != std::string_view::npos) return "expected lines to end with a line feed only";
  }
  for (std::size_t i = 0; i < line.size(); ++i) {
    const char c = line[i];
    if (c == '#') return std::nullopt;
    if (c == '"' || c == '\'') {
      if (line.substr(i, 3) == std::string(3, c)) return "texts of several lines have no use here";
      std::size_t end = i + 1;
      while (end < line.size() && line[end] != c) {
        const bool escapes = c == '"' && line[end] == '\\';
        end += escapes ? 2U : 1U;
      }
      if (end >= line.size()) return "expected a closing quote on the same line";
      i = end;
    } else if (static_cast<unsigned char>(c) >= 0x80) {
      return "expected letters outside of ASCII only in comments and quoted texts";
    }
  }
  return std::nullopt;
}

}  // namespace

std::optional<TextComplaint> complaint_about_text(std::string_view text) {
  if (text.starts_with(kByteOrderMark)) text.remove_prefix(kByteOrderMark.size());
  for (int number = 1; !text.empty(); ++number) {
    const std::size_t end = text.find('\n');
    std::string_view line = text.substr(0, end);
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (auto what = complaint_about_line(line)) return TextComplaint{.line = number, .what = *what};
    if (end == std::string_view::npos) break;
    text.remove_prefix(end + 1);
  }
  return std::nullopt;
}

}  // namespace crestgate::cell
