// SPDX-License-Identifier: Apache-2.0
#pragma once
// Private to driver/scanner: which character a key stands for.

#include <cstdint>
#include <optional>

namespace crestgate::driver {

// Purpose  the character of a key on the US layout; key codes are those of linux/input-event-codes.h. Nothing
//          for keys that stand for no printable character, or for one only under some Num Lock (the keypad's
//          digits together with shift).
[[nodiscard]] std::optional<char> character_of_key(std::uint16_t code, bool shift);

}  // namespace crestgate::driver
