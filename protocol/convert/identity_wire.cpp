// SPDX-License-Identifier: Apache-2.0
// Identities, and the small values that several messages share.

#include <algorithm>
#include <limits>

#include "protocol/convert/enum_table.h"
#include "protocol/convert/wire.h"

namespace crestgate::protocol {
namespace {

constexpr EnumTable<base::Pickup, wire::Pickup, 3> kPickups = {{
    {base::Pickup::kUnknown, wire::PICKUP_UNSPECIFIED},
    {base::Pickup::kSkidless, wire::PICKUP_SKIDLESS},
    {base::Pickup::kSkidded, wire::PICKUP_SKIDDED},
}};

constexpr EnumTable<base::Standing, wire::Standing, 3> kStandings = {{
    {base::Standing::kUnknown, wire::STANDING_UNSPECIFIED},
    {base::Standing::kProved, wire::STANDING_PROVED},
    {base::Standing::kUnproved, wire::STANDING_UNPROVED},
}};

constexpr std::uint64_t kMaxWord = std::numeric_limits<std::uint16_t>::max();

}  // namespace

void to_wire(const base::PartIdentity& identity, wire::PartIdentity& message) {
  if (identity.part_id) message.set_part_id(*identity.part_id);
  if (identity.batch) message.set_batch(*identity.batch);
  if (identity.machine) message.set_machine(*identity.machine);
  if (identity.stage) message.set_stage(*identity.stage);
  if (identity.spindle) message.set_spindle(*identity.spindle);
  if (identity.wheel) message.set_wheel(*identity.wheel);
  if (identity.dress_count) message.set_dress_count(*identity.dress_count);
}

void from_wire(const wire::PartIdentity& message, Problems& problems, base::PartIdentity& identity) {
  if (message.has_part_id()) identity.part_id = message.part_id();
  if (message.has_batch()) identity.batch = message.batch();
  if (message.has_machine()) identity.machine = message.machine();
  if (message.has_stage()) {
    problems.small("identity.stage", message.stage(), kMaxWord);
    identity.stage = static_cast<std::uint16_t>(message.stage());
  }
  if (message.has_spindle()) {
    problems.small("identity.spindle", message.spindle(), kMaxWord);
    identity.spindle = static_cast<std::uint16_t>(message.spindle());
  }
  if (message.has_wheel()) identity.wheel = message.wheel();
  if (message.has_dress_count()) identity.dress_count = message.dress_count();
}

void to_wire(const base::GaugeIdentity& gauge, Problems& problems, wire::GaugeIdentity& message) {
  message.set_kind(gauge.kind);
  message.set_model(gauge.model);
  message.set_serial_number(gauge.serial_number);
  message.set_firmware(gauge.firmware);
  message.set_boot_id(gauge.boot_id);
  message.set_pickup(wire_of(kPickups, gauge.pickup, "gauge.pickup", problems));
  if (gauge.tip_radius_um) message.set_tip_radius_um(*gauge.tip_radius_um);
  if (gauge.range_um) message.set_range_um(*gauge.range_um);
}

void from_wire(const wire::GaugeIdentity& message, Problems& problems, base::GaugeIdentity& gauge) {
  gauge.kind = message.kind();
  gauge.model = message.model();
  gauge.serial_number = message.serial_number();
  gauge.firmware = message.firmware();
  gauge.boot_id = message.boot_id();
  gauge.pickup = plain_of(kPickups, message.pickup(), "gauge.pickup", problems);
  if (message.has_tip_radius_um()) gauge.tip_radius_um = message.tip_radius_um();
  if (message.has_range_um()) gauge.range_um = message.range_um();
}

void to_wire(const base::Digest& digest, std::string& bytes) {
  bytes.assign(digest.bytes.begin(), digest.bytes.end());
}

void from_wire(const std::string& bytes, std::string_view field, Problems& problems, base::Digest& digest) {
  if (bytes.size() != digest.bytes.size()) {
    problems.say(base::ErrorCode::kMalformed, field,
                 "has " + std::to_string(bytes.size()) + " bytes, expected 32");
    return;
  }
  std::transform(bytes.begin(), bytes.end(), digest.bytes.begin(),
                 [](char c) { return static_cast<std::uint8_t>(c); });
}

// The numbers are the same on both sides (a test holds them together), so newer codes pass as they are.
wire::Reason to_wire(base::Reason reason) { return static_cast<wire::Reason>(reason); }

void from_wire(wire::Reason number, std::string_view field, Problems& problems, base::Reason& reason) {
  if (number < 0 || static_cast<std::uint64_t>(number) > kMaxWord) {
    problems.say(base::ErrorCode::kOutOfRange, field,
                 "is " + std::to_string(static_cast<int>(number)) + ", expected 0 to 65535");
    return;
  }
  reason = static_cast<base::Reason>(number);
}

wire::Standing to_wire(base::Standing standing, Problems& problems) {
  return wire_of(kStandings, standing, "standing", problems);
}

void from_wire(wire::Standing number, Problems& problems, base::Standing& standing) {
  standing = plain_of(kStandings, number, "standing", problems);
}

}  // namespace crestgate::protocol
