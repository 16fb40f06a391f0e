// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/frame.h"

#include <algorithm>
#include <optional>

#include <boost/crc.hpp>

#include "base/expects.h"
#include "simulator/link/cobs.h"

namespace crestgate::simulator {

namespace {

constexpr std::size_t kHeadSize = 6;
constexpr std::size_t kCheckSize = 4;

void put_u16(Bytes& out, std::size_t value) {
  out.push_back(static_cast<std::uint8_t>(value & 0xFFU));
  out.push_back(static_cast<std::uint8_t>((value >> 8U) & 0xFFU));
}

std::uint32_t number_at(ByteView bytes, std::size_t at, std::size_t size) {
  std::uint32_t value = 0;
  for (std::size_t i = size; i > 0; --i) value = (value << 8U) | bytes[at + i - 1];
  return value;
}

}  // namespace

std::uint32_t check_of(ByteView bytes) {
  boost::crc_optimal<32, 0x1EDC6F41, 0xFFFFFFFF, 0xFFFFFFFF, true, true> crc;
  crc.process_bytes(bytes.data(), bytes.size());
  return crc.checksum();
}

Bytes content_of(const Frame& frame) {
  CRESTGATE_EXPECTS(frame.body.size() <= kLongestBody);
  Bytes content = {kLinkVersion, frame.type};
  put_u16(content, frame.sequence);
  put_u16(content, frame.body.size());
  content.insert(content.end(), frame.body.begin(), frame.body.end());
  const std::uint32_t check = check_of(content);
  put_u16(content, check & 0xFFFFU);
  put_u16(content, check >> 16U);
  return content;
}

Bytes wire_of(const Frame& frame) {
  Bytes wire = stuff(content_of(frame));
  wire.push_back(0);
  return wire;
}

void Deframer::reopen() {
  state_ = State::kFirstFragment;
  pending_.clear();
}

void Deframer::feed(ByteView bytes, std::vector<Frame>& frames) {
  for (const std::uint8_t byte : bytes) {
    if (byte == 0) {
      if (state_ == State::kInFrame && !pending_.empty()) close_frame(frames);
      state_ = State::kInFrame;
      pending_.clear();
    } else if (state_ == State::kInFrame) {
      if (pending_.size() == kLongestFrame) {
        ++counters_.overlong;
        pending_.clear();
        state_ = State::kSkipping;
      } else {
        pending_.push_back(byte);
      }
    }
  }
}

// The check comes before the version: a frame that is not whole says nothing about its version.
void Deframer::close_frame(std::vector<Frame>& frames) {
  const std::optional<Bytes> content = unstuff(pending_);
  if (!content || content->size() < kHeadSize + kCheckSize) {
    ++counters_.damaged;
    return;
  }
  const std::size_t check_at = content->size() - kCheckSize;
  const std::size_t length = number_at(*content, 4, 2);
  if (length != check_at - kHeadSize || length > kLongestBody ||
      number_at(*content, check_at, 4) != check_of(ByteView(*content).first(check_at))) {
    ++counters_.damaged;
    return;
  }
  if ((*content)[0] != kLinkVersion) {
    ++counters_.other_version;
    return;
  }
  Frame frame;
  frame.type = (*content)[1];
  frame.sequence = static_cast<std::uint16_t>(number_at(*content, 2, 2));
  frame.body.assign(content->begin() + kHeadSize, content->begin() + static_cast<std::ptrdiff_t>(check_at));
  frames.push_back(std::move(frame));
}

}  // namespace crestgate::simulator
