// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/key_decoder.h"

#include <cstring>
#include <string>

#include <linux/input.h>

#include "driver/scanner/key_table.h"

namespace crestgate::driver {

void KeyDecoder::take(std::span<const std::byte> bytes, LineAssembler::Instant now, LineAssembler& lines) {
  static_assert(sizeof(input_event) <= sizeof(partial_));
  for (const std::byte byte : bytes) {
    partial_[filled_++] = byte;
    if (filled_ < sizeof(input_event)) continue;
    filled_ = 0;
    input_event raw{};
    std::memcpy(&raw, partial_.data(), sizeof raw);
    take_event({.type = raw.type, .code = raw.code, .value = raw.value}, now, lines);
  }
}

void KeyDecoder::take_event(const Event& event, LineAssembler::Instant now, LineAssembler& lines) {
  if (event.type == EV_SYN && event.code == SYN_DROPPED) {
    lost_ = true;
    left_shift_ = false;  // a release may be among what was lost
    right_shift_ = false;
    lines.spoil("keys were lost, because they were not fetched in time", now);
    return;
  }
  if (event.type == EV_SYN && event.code == SYN_REPORT) lost_ = false;
  if (event.type == EV_KEY && !lost_) take_key(event, now, lines);
}

void KeyDecoder::take_key(const Event& event, LineAssembler::Instant now, LineAssembler& lines) {
  constexpr std::int32_t kReleased = 0;
  constexpr std::int32_t kPressed = 1;
  if (event.code == KEY_LEFTSHIFT || event.code == KEY_RIGHTSHIFT) {
    (event.code == KEY_LEFTSHIFT ? left_shift_ : right_shift_) = event.value != kReleased;
    return;
  }
  if (event.value != kPressed) return;
  if (event.code == KEY_ENTER || event.code == KEY_KPENTER) {
    lines.end_line(now);
    return;
  }
  if (const auto character = character_of_key(event.code, left_shift_ || right_shift_)) {
    lines.take(*character, now);
  } else {
    lines.spoil("it holds the key number " + std::to_string(event.code) + ", which stands for no character",
                now);
  }
}

}  // namespace crestgate::driver
