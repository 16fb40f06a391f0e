// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plain_text.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>

#include "base/utf8.h"

namespace crestgate::cell {
namespace {

// The parser goes one call deeper for each part of a key, and a plan's longest has two.
constexpr int kMostKeyParts = 8;

constexpr std::string_view kByteOrderMark = "\xEF\xBB\xBF";

bool is_ascii(char c) { return static_cast<unsigned char>(c) < 0x80; }

bool is_control(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return (byte < 0x20 && c != '\t') || byte == 0x7F;
}

// One line at a time, since nothing in a description spans two.
class LineWriter {
 public:
  LineWriter(std::string_view line, std::string& out) : line_(line), out_(out) {}

  std::optional<std::string> write() {
    for (const char c : line_) {
      if (is_control(c)) return "expected no control characters";
    }
    while (at_ < line_.size() && line_[at_] != '#') {
      const char c = line_[at_];
      if (!is_ascii(c)) return "expected letters outside of ASCII only in comments and in double quotes";
      if (c == '"' || c == '\'') {
        if (auto what = write_quoted(c)) return what;
        continue;
      }
      if (is_after_key(c)) parts_ = 1;
      if (c == '.' && ++parts_ > kMostKeyParts) {
        return "expected a key of at most " + std::to_string(kMostKeyParts) + " parts";
      }
      take();
    }
    return std::nullopt;
  }

 private:
  static bool is_after_key(char c) { return std::string_view("=[]{},").find(c) != std::string_view::npos; }
  void take() { out_ += line_[at_++]; }

  std::optional<std::string> write_quoted(char quote) {
    if (line_.substr(at_, 3) == std::string(3, quote)) return "texts of several lines have no use here";
    take();
    while (at_ < line_.size() && line_[at_] != quote) {
      if (!is_ascii(line_[at_])) {
        if (quote == '\'') return "expected letters outside of ASCII only in comments and in double quotes";
        const base::CodePoint point = base::code_point_at(line_.substr(at_));
        if (point.length == 0) return "expected a text in UTF-8";
        std::array<char, 16> escape{};
        std::snprintf(escape.data(), escape.size(), "\\U%08X", static_cast<unsigned>(point.value));
        out_ += escape.data();
        at_ += point.length;
        continue;
      }
      const bool escapes = quote == '"' && line_[at_] == '\\';
      take();
      if (!escapes || at_ == line_.size()) continue;
      if (!is_ascii(line_[at_])) return "expected one of TOML's escapes after a backslash";
      take();
    }
    if (at_ >= line_.size()) return "expected a closing quote on the same line";
    take();
    return std::nullopt;
  }

  std::string_view line_;
  std::string& out_;
  std::size_t at_ = 0;
  int parts_ = 1;  // of the key, or of what could be one
};

}  // namespace

PlainText plain_text(std::string_view text) {
  if (text.starts_with(kByteOrderMark)) text.remove_prefix(kByteOrderMark.size());
  PlainText plain;
  plain.text.reserve(text.size());
  for (int number = 1; !text.empty(); ++number) {
    const std::size_t end = text.find('\n');
    std::string_view line = text.substr(0, end);
    if (line.ends_with('\r')) line.remove_suffix(1);
    if (auto what = LineWriter(line, plain.text).write()) {
      return {.text = {}, .complaint = TextComplaint{.line = number, .what = *what}};
    }
    if (end == std::string_view::npos) break;
    plain.text += '\n';
    text.remove_prefix(end + 1);
  }
  return plain;
}

}  // namespace crestgate::cell
