// SPDX-License-Identifier: Apache-2.0
#pragma once
// The messages of the gauge link, both directions. The order of the members is the order on the wire.
//
// Source  protocol/link/LINK.md, section 3.

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "simulator/link/frame.h"

namespace crestgate::simulator {

// Host to gauge.
struct Hello {
  static constexpr std::uint8_t kType = 0x01;
  std::uint8_t minor_version = 0;
  friend bool operator==(const Hello&, const Hello&) = default;
};
struct AskState {
  static constexpr std::uint8_t kType = 0x02;
  friend bool operator==(const AskState&, const AskState&) = default;
};
struct AskStill {
  static constexpr std::uint8_t kType = 0x03;
  std::uint16_t averaging_ms = 0;
  friend bool operator==(const AskStill&, const AskStill&) = default;
};
struct StartTraverse {
  static constexpr std::uint8_t kType = 0x04;
  std::uint32_t traverse_id = 0;
  std::uint32_t length_um = 0;
  std::uint32_t spacing_nm = 0;
  std::uint32_t speed_um_per_s = 0;
  friend bool operator==(const StartTraverse&, const StartTraverse&) = default;
};
struct Resend {
  static constexpr std::uint8_t kType = 0x05;
  std::uint32_t traverse_id = 0;
  std::uint32_t first_sample = 0;
  std::uint32_t count = 0;
  friend bool operator==(const Resend&, const Resend&) = default;
};
struct Abort {
  static constexpr std::uint8_t kType = 0x06;
  friend bool operator==(const Abort&, const Abort&) = default;
};
struct Retract {
  static constexpr std::uint8_t kType = 0x07;
  friend bool operator==(const Retract&, const Retract&) = default;
};
struct HostPulse {
  static constexpr std::uint8_t kType = 0x10;
  friend bool operator==(const HostPulse&, const HostPulse&) = default;
};

// Gauge to host.
struct Identity {
  static constexpr std::uint8_t kType = 0x81;
  std::uint8_t minor_version = 0;
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
struct StateReport {
  static constexpr std::uint8_t kType = 0x82;
  std::uint8_t motion = 0;  // 0 idle, 1 moving, 2 fault
  std::uint8_t stylus_clear = 0;
  std::uint16_t fault = 0;
  std::int32_t height_count = 0;
  std::uint32_t height_step_pm = 0;
  std::uint32_t seconds_since_boot = 0;
  friend bool operator==(const StateReport&, const StateReport&) = default;
};
struct StillReport {
  static constexpr std::uint8_t kType = 0x83;
  std::int32_t height_count = 0;
  std::uint32_t height_step_pm = 0;
  std::uint32_t scatter_pm = 0;
  std::uint16_t samples = 0;
  friend bool operator==(const StillReport&, const StillReport&) = default;
};
struct Started {
  static constexpr std::uint8_t kType = 0x84;
  std::uint32_t traverse_id = 0;
  std::uint32_t samples = 0;
  std::uint32_t spacing_nm = 0;
  std::uint32_t height_step_pm = 0;
  std::uint32_t speed_um_per_s = 0;
  friend bool operator==(const Started&, const Started&) = default;
};
struct Chunk {
  static constexpr std::uint8_t kType = 0x85;
  static constexpr std::size_t kMostHeights = 150;
  std::uint32_t traverse_id = 0;
  std::uint32_t first_sample = 0;
  std::vector<std::int32_t> height_counts;  // 1 to kMostHeights
  friend bool operator==(const Chunk&, const Chunk&) = default;
};
struct Finished {
  static constexpr std::uint8_t kType = 0x86;
  std::uint32_t traverse_id = 0;
  std::uint32_t samples = 0;
  std::uint16_t quality = 0;  // WireQuality bits
  std::uint32_t check = 0;    // CRC-32C over all heights as they stand on the wire
  std::uint32_t duration_ms = 0;
  friend bool operator==(const Finished&, const Finished&) = default;
};
struct Lifted {  // DONE on the page
  static constexpr std::uint8_t kType = 0x87;
  std::uint8_t stylus_clear = 0;
  friend bool operator==(const Lifted&, const Lifted&) = default;
};
struct Refused {
  static constexpr std::uint8_t kType = 0x88;
  std::uint8_t refused_type = 0;
  std::uint16_t refusal = 0;  // Refusal
  std::string text;
  friend bool operator==(const Refused&, const Refused&) = default;
};
struct GaugePulse {
  static constexpr std::uint8_t kType = 0x90;
  std::uint64_t boot_id = 0;
  std::uint8_t motion = 0;
  std::uint8_t stylus_clear = 0;
  friend bool operator==(const GaugePulse&, const GaugePulse&) = default;
};

// Bits of Finished::quality. Not the bits of base::QualityFlag: the wire has its own numbering.
enum WireQuality : std::uint16_t {
  kWireOverRange = 1U << 0U,
  kWireStylusLifted = 1U << 1U,
  kWireSpeedUnsteady = 1U << 2U,
  kWireVibration = 1U << 3U,
};

// LINK.md, section 4.
enum class Refusal : std::uint16_t {
  kNotNow = 1,
  kOutOfRange = 2,
  kNoSuchTraverse = 3,
  kGaugeFault = 4,
  kUnknownRequest = 5,
};
constexpr std::uint16_t kFaultDriveBlocked = 101;

constexpr std::int32_t kEndStopCount = 2147483647;  // the pickup stood at its end stop
constexpr std::int32_t kNoSampleCount = -2147483647 - 1;

using Message =
    std::variant<Hello, AskState, AskStill, StartTraverse, Resend, Abort, Retract, HostPulse, Identity,
                 StateReport, StillReport, Started, Chunk, Finished, Lifted, Refused, GaugePulse>;

// Pre     a chunk holds 1 to 150 heights, a text at most 255 bytes.
Frame frame_of(std::uint16_t sequence, const Message& message);

enum class BodyProblem { kUnknownType, kMalformed };

// A body longer than the page says is read as far as the page says; a shorter one is malformed.
std::variant<Message, BodyProblem> message_of(const Frame& frame);

// All heights as they stand on the wire, and the check of Finished over them.
Bytes wire_heights(const std::vector<std::int32_t>& height_counts);

struct Received {
  std::uint16_t sequence = 0;
  Message message;
};

// Bytes to messages, with every drop counted by its reason.
class Receiver {
 public:
  std::vector<Received> feed(ByteView bytes);
  void reopen() { deframer_.reopen(); }
  [[nodiscard]] ReceiveCounters counters() const;

 private:
  Deframer deframer_;
  std::uint64_t unknown_type_ = 0;
  std::uint64_t malformed_ = 0;
};

}  // namespace crestgate::simulator
