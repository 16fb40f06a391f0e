// SPDX-License-Identifier: Apache-2.0
#pragma once
// Strong types for single physical values that cross a border. Arrays and formulas use suffixed names
// instead.

#include <compare>

namespace crestgate::base {

template <class Tag>
class Quantity {
 public:
  constexpr Quantity() = default;
  constexpr explicit Quantity(double value) : value_(value) {}
  [[nodiscard]] constexpr double in(Tag /*unit*/) const { return value_; }  // the call site names the unit
  friend constexpr Quantity operator+(Quantity a, Quantity b) { return Quantity(a.value_ + b.value_); }
  friend constexpr Quantity operator-(Quantity a, Quantity b) { return Quantity(a.value_ - b.value_); }
  friend constexpr auto operator<=>(Quantity, Quantity) = default;

 private:
  double value_ = 0.0;
};

inline constexpr struct MicrometreTag {
} kUm{};
inline constexpr struct MillimetreTag {
} kMm{};
inline constexpr struct MillimetrePerSecondTag {
} kMmPerS{};

using Micrometres = Quantity<MicrometreTag>;
using Millimetres = Quantity<MillimetreTag>;
using MillimetresPerSecond = Quantity<MillimetrePerSecondTag>;

constexpr Micrometres to_micrometres(Millimetres length) { return Micrometres(1000.0 * length.in(kMm)); }
constexpr Millimetres to_millimetres(Micrometres length) { return Millimetres(length.in(kUm) / 1000.0); }

}  // namespace crestgate::base
