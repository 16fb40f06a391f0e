// SPDX-License-Identifier: Apache-2.0
#pragma once
// Who is being measured and what by. Unknown stays unknown: an absent optional, never a value carried over.

#include <cstdint>
#include <optional>
#include <string>

namespace crestgate::base {

// What the PLC said about the part, latched at the request.
struct PartIdentity {
  std::optional<std::string> part_id;
  std::optional<std::string> batch;
  std::optional<std::string> machine;  // the machine that made the surface
  std::optional<std::uint16_t> stage;  // the plan's stage number, as the PLC gave it
  std::optional<std::uint16_t> spindle;
  std::optional<std::uint32_t> wheel;        // number of the wheel (or belt, or stone) in use
  std::optional<std::uint32_t> dress_count;  // parts since the wheel was dressed
  friend bool operator==(const PartIdentity&, const PartIdentity&) = default;
};

enum class Pickup : std::uint8_t { kUnknown = 0, kSkidless = 1, kSkidded = 2 };
enum class Standing : std::uint8_t { kUnknown = 0, kProved = 1, kUnproved = 2 };

// What the gauge says of itself.
struct GaugeIdentity {
  std::string kind;  // the driver's folder: "link"
  std::string model;
  std::string serial_number;
  std::string firmware;
  std::uint64_t boot_id = 0;  // changes whenever the gauge restarts
  Pickup pickup = Pickup::kUnknown;
  std::optional<double> tip_radius_um;
  std::optional<double> range_um;  // full measuring range, peak to peak
  friend bool operator==(const GaugeIdentity&, const GaugeIdentity&) = default;
};

}  // namespace crestgate::base
