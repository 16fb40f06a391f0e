// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/cobs.h"

#include <cstddef>

namespace crestgate::simulator {

namespace {

constexpr std::size_t kFullPiece = 254;
constexpr std::uint8_t kFullCode = 0xFF;

}  // namespace

Bytes stuff(ByteView content) {
  Bytes out;
  out.reserve(content.size() + content.size() / kFullPiece + 2);
  std::size_t at = 0;
  while (true) {
    std::size_t length = 0;
    while (length < kFullPiece && at + length < content.size() && content[at + length] != 0) ++length;
    out.push_back(static_cast<std::uint8_t>(length + 1));
    for (std::size_t i = 0; i < length; ++i) out.push_back(content[at + i]);
    at += length;
    if (at == content.size()) return out;  // also after a full piece at the very end: no further code byte
    if (length < kFullPiece) {
      ++at;  // the zero that this piece implies
      if (at == content.size()) {
        out.push_back(1);  // the empty piece after a zero that ends the content
        return out;
      }
    }
  }
}

std::optional<Bytes> unstuff(ByteView stuffed) {
  Bytes content;
  content.reserve(stuffed.size());
  std::size_t at = 0;
  while (at < stuffed.size()) {
    const std::uint8_t code = stuffed[at];
    ++at;
    if (code == 0) return std::nullopt;
    const std::size_t length = code - std::size_t{1};
    if (at + length > stuffed.size()) return std::nullopt;
    for (std::size_t i = 0; i < length; ++i) {
      if (stuffed[at + i] == 0) return std::nullopt;
      content.push_back(stuffed[at + i]);
    }
    at += length;
    if (code != kFullCode && at < stuffed.size()) content.push_back(0);
  }
  return content;
}

}  // namespace crestgate::simulator
