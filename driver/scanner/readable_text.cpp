// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/readable_text.h"

#include <array>
#include <cstddef>
#include <cstdint>
#include <cstdio>

#include "base/utf8.h"

namespace crestgate::driver {
namespace {

bool is_control(std::uint32_t value) { return value < 0x20 || (value >= 0x7F && value <= 0x9F); }

}  // namespace

std::optional<std::string> unreadable_because(std::string_view text) {
  std::size_t at = 0;
  while (at < text.size()) {
    const base::CodePoint point = base::code_point_at(text.substr(at));
    if (point.length == 0 || is_control(point.value)) {
      std::array<char, 96> reason{};
      std::snprintf(reason.data(), reason.size(), "byte %zu of %zu is 0x%02X, which is no printable text",
                    at + 1, text.size(), static_cast<unsigned>(static_cast<unsigned char>(text[at])));
      return reason.data();
    }
    at += point.length;
  }
  return std::nullopt;
}

}  // namespace crestgate::driver
