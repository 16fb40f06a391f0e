// SPDX-License-Identifier: Apache-2.0
#pragma once
// Puts labels together from characters that arrive one by one.

#include <chrono>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

namespace crestgate::driver {

struct LineLimits {
  std::size_t longest_characters = 200;
  std::chrono::milliseconds patience{2000};  // from a line's first character to its end
};

enum class LineFate : std::uint8_t { kRead, kUnreadable, kOverlong, kHalf };

struct LineNews {
  LineFate fate = LineFate::kRead;
  std::string text;  // the line; if it was dropped, why
};

// Purpose  lines, each whole or not at all. Empty lines are no lines (CR LF ends one line, not two).
// Method   a line that was dropped before its end is skipped up to that end, so that its tail is not taken for
//          a label; or until nothing came for `patience`, so that a lost end does not cost the next label.
//          Time is handed in, and looked at with every character: a late timer glues nothing together.
// Pre      `now` never runs backwards.
class LineAssembler {
 public:
  using Instant = std::chrono::steady_clock::time_point;

  explicit LineAssembler(LineLimits limits) : limits_(limits) {}

  void take(char byte, Instant now);
  void spoil(const std::string& why, Instant now);  // the line under way, or about to begin, holds no text
  void end_line(Instant now);
  void pass_time(Instant now);
  void abandon();  // what was under way will not be continued: its source is gone

  // When pass_time() should be called, unless something comes before.
  [[nodiscard]] std::optional<Instant> deadline() const;

  [[nodiscard]] std::vector<LineNews> take_news();

 private:
  void touch(Instant now);
  void drop(LineFate fate, std::string why);
  void reset();

  LineLimits limits_;
  bool under_way_ = false;
  bool skipping_ = false;  // dropped already, its end is still to come
  std::string text_;
  std::size_t characters_ = 0;
  Instant first_;
  Instant last_;
  std::vector<LineNews> news_;
};

}  // namespace crestgate::driver
