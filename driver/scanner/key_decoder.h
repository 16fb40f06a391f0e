// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to driver/scanner: from what the kernel says about keys to characters.

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

#include "driver/scanner/line_assembler.h"

namespace crestgate::driver {

// Purpose  takes a stream of struct input_event (linux/input.h), split anywhere. A pressed key is a character;
//          Enter ends a label; repeats and releases are none. A key without a character spoils its label: Caps
//          Lock, Ctrl and Alt change what the others mean, and a guess would be a wrong name. Caps Lock is
//          taken to be off.
//          When the kernel says that it lost events, the label under way is spoiled, and what it reports until
//          the next SYN_REPORT is incomplete and left out.
// Source   Linux, Documentation/input/event-codes.rst: EV_SYN, EV_KEY.
class KeyDecoder {
 public:
  void take(std::span<const std::byte> bytes, LineAssembler::Instant now, LineAssembler& lines);

 private:
  struct Event {
    std::uint16_t type = 0;
    std::uint16_t code = 0;
    std::int32_t value = 0;
  };
  void take_event(const Event& event, LineAssembler::Instant now, LineAssembler& lines);
  void take_key(const Event& event, LineAssembler::Instant now, LineAssembler& lines);

  // Larger than any platform's input_event.
  std::array<std::byte, 32> partial_{};
  std::size_t filled_ = 0;
  bool lost_ = false;
  bool left_shift_ = false;
  bool right_shift_ = false;
};

}  // namespace crestgate::driver
