// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/line_assembler.h"

#include <utility>

#include "driver/scanner/readable_text.h"

namespace crestgate::driver {
namespace {

constexpr std::size_t kLongestCharacter = 4;  // bytes in UTF-8

bool continues_character(char byte) { return (static_cast<unsigned char>(byte) & 0xC0U) == 0x80U; }

}  // namespace

void LineAssembler::take(char byte, Instant now) {
  touch(now);
  if (skipping_) return;
  if (!continues_character(byte)) ++characters_;
  text_ += byte;
  // The second bound holds for bytes that only pretend to continue a character.
  if (characters_ > limits_.longest_characters ||
      text_.size() > kLongestCharacter * limits_.longest_characters) {
    drop(LineFate::kOverlong,
         "more than " + std::to_string(limits_.longest_characters) + " characters came without a line end");
  }
}

void LineAssembler::spoil(const std::string& why, Instant now) {
  touch(now);
  if (!skipping_) drop(LineFate::kUnreadable, why);
}

void LineAssembler::end_line(Instant now) {
  pass_time(now);
  if (!under_way_) return;
  if (!skipping_) {
    if (auto why = unreadable_because(text_)) {
      news_.push_back({.fate = LineFate::kUnreadable, .text = *std::move(why)});
    } else {
      news_.push_back({.fate = LineFate::kRead, .text = std::move(text_)});
    }
  }
  reset();
}

void LineAssembler::pass_time(Instant now) {
  if (!under_way_) return;
  const bool silent = now - last_ >= limits_.patience;
  if (!skipping_ && (silent || now - first_ >= limits_.patience)) {
    drop(LineFate::kHalf, std::to_string(characters_) + " characters came, and no line end within " +
                              std::to_string(limits_.patience.count()) + " ms");
  }
  if (silent) reset();
}

void LineAssembler::abandon() {
  if (under_way_ && !skipping_) {
    drop(LineFate::kHalf, std::to_string(characters_) + " characters came before the port was lost");
  }
  reset();
}

std::optional<LineAssembler::Instant> LineAssembler::deadline() const {
  if (!under_way_) return std::nullopt;
  return (skipping_ ? last_ : first_) + limits_.patience;
}

std::vector<LineNews> LineAssembler::take_news() { return std::exchange(news_, {}); }

void LineAssembler::touch(Instant now) {
  pass_time(now);
  if (!under_way_) first_ = now;
  under_way_ = true;
  last_ = now;
}

void LineAssembler::drop(LineFate fate, std::string why) {
  news_.push_back({.fate = fate, .text = std::move(why)});
  text_.clear();
  characters_ = 0;
  skipping_ = true;
}

void LineAssembler::reset() {
  under_way_ = false;
  skipping_ = false;
  text_.clear();
  characters_ = 0;
}

}  // namespace crestgate::driver
