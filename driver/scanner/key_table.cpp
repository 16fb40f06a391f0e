// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/key_table.h"

#include <algorithm>
#include <array>

#include <linux/input-event-codes.h>

namespace crestgate::driver {
namespace {

struct Key {
  std::uint16_t code;
  char plain;
  char shifted;  // 0: none
};

constexpr std::array kKeys = {
    Key{KEY_1, '1', '!'},          Key{KEY_2, '2', '@'},           Key{KEY_3, '3', '#'},
    Key{KEY_4, '4', '$'},          Key{KEY_5, '5', '%'},           Key{KEY_6, '6', '^'},
    Key{KEY_7, '7', '&'},          Key{KEY_8, '8', '*'},           Key{KEY_9, '9', '('},
    Key{KEY_0, '0', ')'},          Key{KEY_MINUS, '-', '_'},       Key{KEY_EQUAL, '=', '+'},
    Key{KEY_Q, 'q', 'Q'},          Key{KEY_W, 'w', 'W'},           Key{KEY_E, 'e', 'E'},
    Key{KEY_R, 'r', 'R'},          Key{KEY_T, 't', 'T'},           Key{KEY_Y, 'y', 'Y'},
    Key{KEY_U, 'u', 'U'},          Key{KEY_I, 'i', 'I'},           Key{KEY_O, 'o', 'O'},
    Key{KEY_P, 'p', 'P'},          Key{KEY_LEFTBRACE, '[', '{'},   Key{KEY_RIGHTBRACE, ']', '}'},
    Key{KEY_A, 'a', 'A'},          Key{KEY_S, 's', 'S'},           Key{KEY_D, 'd', 'D'},
    Key{KEY_F, 'f', 'F'},          Key{KEY_G, 'g', 'G'},           Key{KEY_H, 'h', 'H'},
    Key{KEY_J, 'j', 'J'},          Key{KEY_K, 'k', 'K'},           Key{KEY_L, 'l', 'L'},
    Key{KEY_SEMICOLON, ';', ':'},  Key{KEY_APOSTROPHE, '\'', '"'}, Key{KEY_GRAVE, '`', '~'},
    Key{KEY_BACKSLASH, '\\', '|'}, Key{KEY_Z, 'z', 'Z'},           Key{KEY_X, 'x', 'X'},
    Key{KEY_C, 'c', 'C'},          Key{KEY_V, 'v', 'V'},           Key{KEY_B, 'b', 'B'},
    Key{KEY_N, 'n', 'N'},          Key{KEY_M, 'm', 'M'},           Key{KEY_COMMA, ',', '<'},
    Key{KEY_DOT, '.', '>'},        Key{KEY_SLASH, '/', '?'},       Key{KEY_SPACE, ' ', ' '},
    Key{KEY_KP0, '0', 0},          Key{KEY_KP1, '1', 0},           Key{KEY_KP2, '2', 0},
    Key{KEY_KP3, '3', 0},          Key{KEY_KP4, '4', 0},           Key{KEY_KP5, '5', 0},
    Key{KEY_KP6, '6', 0},          Key{KEY_KP7, '7', 0},           Key{KEY_KP8, '8', 0},
    Key{KEY_KP9, '9', 0},          Key{KEY_KPDOT, '.', 0},         Key{KEY_KPPLUS, '+', '+'},
    Key{KEY_KPMINUS, '-', '-'},    Key{KEY_KPASTERISK, '*', '*'},  Key{KEY_KPSLASH, '/', '/'},
    Key{KEY_KPEQUAL, '=', '='},
};

}  // namespace

std::optional<char> character_of_key(std::uint16_t code, bool shift) {
  const auto* const key =
      std::find_if(kKeys.begin(), kKeys.end(), [code](const Key& entry) { return entry.code == code; });
  if (key == kKeys.end()) return std::nullopt;
  const char character = shift ? key->shifted : key->plain;
  if (character == 0) return std::nullopt;
  return character;
}

}  // namespace crestgate::driver
