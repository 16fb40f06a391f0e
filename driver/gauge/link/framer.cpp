// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/framer.h"

#include <utility>

#include "driver/gauge/link/codec.h"

namespace crestgate::driver::link {

void Framer::feed(std::span<const std::byte> bytes, std::vector<Message>& messages) {
  for (const std::byte byte : bytes) {
    if (byte == std::byte{0}) {
      if (mode_ == Mode::kInFrame && !stuffed_.empty()) close_frame(messages);
      stuffed_.clear();
      mode_ = Mode::kInFrame;
    } else if (mode_ == Mode::kInFrame) {
      if (stuffed_.size() == kMaxStuffed) {
        ++counters_.overlong;
        mode_ = Mode::kOverlong;
      } else {
        stuffed_.push_back(std::to_integer<std::uint8_t>(byte));
      }
    }
  }
}

void Framer::close_frame(std::vector<Message>& messages) {
  if (!cobs_decode(stuffed_, content_)) {
    ++counters_.damaged;
    return;
  }
  auto decoded = decode_content(content_);
  if (auto* message = std::get_if<Message>(&decoded)) {
    ++counters_.good;
    messages.push_back(std::move(*message));
    return;
  }
  switch (std::get<Defect>(decoded)) {
    case Defect::kDamaged:
      ++counters_.damaged;
      break;
    case Defect::kOtherVersion:
      ++counters_.other_version;
      break;
    case Defect::kUnknownType:
      ++counters_.unknown_type;
      break;
    case Defect::kMalformed:
      ++counters_.malformed;
      break;
  }
}

}  // namespace crestgate::driver::link
