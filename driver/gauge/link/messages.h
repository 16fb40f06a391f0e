// SPDX-License-Identifier: Apache-2.0
#pragma once
// The messages of the gauge link, version 1, as plain structs.
//
// Source  protocol/link/LINK.md section 3. Units are those of the wire and stand in the names.

#include <cstddef>
#include <cstdint>
#include <string>
#include <variant>
#include <vector>

namespace crestgate::driver::link {

constexpr std::uint8_t kVersion = 1;
constexpr std::size_t kMaxBody = 640;
constexpr std::size_t kMaxChunk = 150;  // heights

enum class Type : std::uint8_t {
  kHello = 0x01,
  kAskState = 0x02,
  kAskStill = 0x03,
  kTraverse = 0x04,
  kResend = 0x05,
  kAbort = 0x06,
  kRetract = 0x07,
  kHostPulse = 0x10,
  kIdentity = 0x81,
  kState = 0x82,
  kStill = 0x83,
  kStarted = 0x84,
  kChunk = 0x85,
  kFinished = 0x86,
  kDone = 0x87,
  kRefused = 0x88,
  kGaugePulse = 0x90,
};

// Motion as the gauge states it; a number that this version does not know counts as a fault.
constexpr std::uint8_t kIdle = 0;
constexpr std::uint8_t kMoving = 1;

// Section 4.
constexpr std::uint16_t kRefusedBusy = 1;
constexpr std::uint16_t kRefusedRange = 2;
constexpr std::uint16_t kRefusedNoSuchTraverse = 3;
constexpr std::uint16_t kRefusedFault = 4;
constexpr std::uint16_t kRefusedUnknown = 5;

// Host to gauge.
struct Hello {
  std::uint8_t minor = 0;
  friend bool operator==(const Hello&, const Hello&) = default;
};
struct AskState {
  friend bool operator==(const AskState&, const AskState&) = default;
};
struct AskStill {
  std::uint16_t averaging_ms = 0;
  friend bool operator==(const AskStill&, const AskStill&) = default;
};
struct StartTraverse {
  std::uint32_t traverse_id = 0;
  std::uint32_t length_um = 0;
  std::uint32_t spacing_nm = 0;
  std::uint32_t speed_um_per_s = 0;
  friend bool operator==(const StartTraverse&, const StartTraverse&) = default;
};
struct Resend {
  std::uint32_t traverse_id = 0;
  std::uint32_t first = 0;
  std::uint32_t count = 0;
  friend bool operator==(const Resend&, const Resend&) = default;
};
struct Abort {
  friend bool operator==(const Abort&, const Abort&) = default;
};
struct Retract {
  friend bool operator==(const Retract&, const Retract&) = default;
};
struct HostPulse {
  friend bool operator==(const HostPulse&, const HostPulse&) = default;
};

// Gauge to host.
struct Identity {
  std::uint8_t minor = 0;
  std::uint64_t boot_id = 0;
  std::uint8_t pickup = 0;  // 0 unknown, 1 skidless, 2 skidded
  std::uint32_t tip_radius_nm = 0;
  std::uint32_t range_nm = 0;
  std::uint32_t smallest_spacing_nm = 0;
  std::uint32_t longest_traverse_um = 0;
  std::string model;
  std::string serial_number;
  std::string firmware;
  friend bool operator==(const Identity&, const Identity&) = default;
};
struct State {
  std::uint8_t motion = 0;
  std::uint8_t stylus_clear = 0;
  std::uint16_t fault = 0;
  std::int32_t height_counts = 0;
  std::uint32_t height_step_pm = 0;
  std::uint32_t seconds_since_boot = 0;
  friend bool operator==(const State&, const State&) = default;
};
struct Still {
  std::int32_t height_counts = 0;
  std::uint32_t height_step_pm = 0;
  std::uint32_t scatter_pm = 0;
  std::uint16_t samples = 0;
  friend bool operator==(const Still&, const Still&) = default;
};
struct Started {
  std::uint32_t traverse_id = 0;
  std::uint32_t samples = 0;
  std::uint32_t spacing_nm = 0;
  std::uint32_t height_step_pm = 0;
  std::uint32_t speed_um_per_s = 0;
  friend bool operator==(const Started&, const Started&) = default;
};
struct Chunk {
  std::uint32_t traverse_id = 0;
  std::uint32_t first = 0;
  std::vector<std::int32_t> heights;  // 1 to kMaxChunk counts
  friend bool operator==(const Chunk&, const Chunk&) = default;
};
struct Finished {
  std::uint32_t traverse_id = 0;
  std::uint32_t samples = 0;
  std::uint16_t quality = 0;  // bit 0 over range, 1 stylus lifted, 2 speed unsteady, 3 vibration
  std::uint32_t check = 0;    // CRC-32C over all heights as they stand on the wire
  std::uint32_t duration_ms = 0;
  friend bool operator==(const Finished&, const Finished&) = default;
};
struct Done {
  std::uint8_t stylus_clear = 0;
  friend bool operator==(const Done&, const Done&) = default;
};
struct Refused {
  std::uint8_t refused_type = 0;
  std::uint16_t refusal = 0;
  std::string text;
  friend bool operator==(const Refused&, const Refused&) = default;
};
struct GaugePulse {
  std::uint64_t boot_id = 0;
  std::uint8_t motion = 0;
  std::uint8_t stylus_clear = 0;
  friend bool operator==(const GaugePulse&, const GaugePulse&) = default;
};

using Body = std::variant<Hello, AskState, AskStill, StartTraverse, Resend, Abort, Retract, HostPulse,
                          Identity, State, Still, Started, Chunk, Finished, Done, Refused, GaugePulse>;

struct Message {
  std::uint16_t sequence = 0;
  Body body;
  friend bool operator==(const Message&, const Message&) = default;
};

}  // namespace crestgate::driver::link
