// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/convert: enumerations by table, one row per value. A value without a row is refused in
// both directions, by the name of its field.

#include <array>
#include <cstddef>
#include <string>
#include <string_view>

#include "protocol/convert/problems.h"

namespace crestgate::protocol {

template <class Plain, class Wire>
struct EnumRow {
  Plain plain;
  Wire wire;
};

template <class Plain, class Wire, std::size_t kRows>
using EnumTable = std::array<EnumRow<Plain, Wire>, kRows>;

template <class Plain, class Wire, std::size_t kRows>
Wire wire_of(const EnumTable<Plain, Wire, kRows>& table, Plain plain, std::string_view field,
             Problems& problems) {
  for (const auto& row : table) {
    if (row.plain == plain) return row.wire;
  }
  problems.say(base::ErrorCode::kOutOfRange, field,
               "has the value " + std::to_string(static_cast<int>(plain)) + ", which has no meaning");
  return table[0].wire;
}

template <class Plain, class Wire, std::size_t kRows>
Plain plain_of(const EnumTable<Plain, Wire, kRows>& table, Wire wire, std::string_view field,
               Problems& problems) {
  for (const auto& row : table) {
    if (row.wire == wire) return row.plain;
  }
  problems.say(
      base::ErrorCode::kNotSupported, field,
      "has the value " + std::to_string(static_cast<int>(wire)) + ", which this version does not know");
  return table[0].plain;
}

}  // namespace crestgate::protocol
