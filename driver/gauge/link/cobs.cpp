// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/cobs.h"

#include <algorithm>

#include <isa-l/crc.h>

namespace crestgate::driver::link {
namespace {

constexpr std::size_t kFullPiece = 254;

}  // namespace

Bytes cobs_encode(std::span<const std::uint8_t> content) {
  Bytes stuffed;
  stuffed.reserve(content.size() + content.size() / kFullPiece + 1);
  const auto put_piece = [&](std::size_t begin, std::size_t end) {
    stuffed.push_back(static_cast<std::uint8_t>(end - begin + 1));
    const auto piece = content.subspan(begin, end - begin);
    stuffed.insert(stuffed.end(), piece.begin(), piece.end());
  };
  std::size_t begin = 0;  // of the piece that is still open
  bool open = true;       // false: the last piece was full, so nothing is owed after it
  for (std::size_t i = 0; i < content.size(); ++i) {
    if (content[i] == 0) {
      put_piece(begin, i);
      begin = i + 1;
      open = true;
    } else if (i + 1 - begin == kFullPiece) {
      put_piece(begin, i + 1);
      begin = i + 1;
      open = false;
    } else {
      open = true;
    }
  }
  if (open) put_piece(begin, content.size());
  return stuffed;
}

bool cobs_decode(std::span<const std::uint8_t> stuffed, Bytes& content) {
  content.clear();
  std::size_t at = 0;
  while (at < stuffed.size()) {
    const std::size_t code = stuffed[at];
    const std::size_t piece = code - 1;
    if (code == 0 || stuffed.size() - at - 1 < piece) return false;
    const auto bytes = stuffed.subspan(at + 1, piece);
    if (std::find(bytes.begin(), bytes.end(), std::uint8_t{0}) != bytes.end()) return false;
    content.insert(content.end(), bytes.begin(), bytes.end());
    at += code;
    if (code <= kFullPiece && at < stuffed.size()) content.push_back(0);
  }
  return !stuffed.empty();
}

std::uint32_t crc32c(std::span<const std::uint8_t> bytes, std::uint32_t before) {
  std::uint32_t check = ~before;
  while (!bytes.empty()) {
    // The library takes an int and a pointer that it does not write through.
    const std::size_t part = std::min<std::size_t>(bytes.size(), std::size_t{1} << 30U);
    check = crc32_iscsi(const_cast<unsigned char*>(bytes.data()), static_cast<int>(part), check);
    bytes = bytes.subspan(part);
  }
  return ~check;
}

}  // namespace crestgate::driver::link
