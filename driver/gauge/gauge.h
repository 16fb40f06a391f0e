// SPDX-License-Identifier: Apache-2.0
#pragma once
// Any stylus gauge, whatever it speaks.

#include <chrono>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>

#include "base/clock.h"
#include "base/identity.h"
#include "base/result.h"
#include "base/traverse.h"
#include "driver/asio_forward.h"

namespace crestgate::driver {

struct GaugeState {
  bool ready = false;         // idle and without a fault
  bool moving = false;        // a traverse is running
  bool stylus_clear = false;  // nothing can be hit
  std::uint16_t fault = 0;    // the gauge's own number, 0 none
  std::string fault_text;     // "" without a fault
  double height_um = 0.0;
};

struct StillReading {
  double height_um = 0.0;
  double scatter_um = 0.0;  // root mean square
  std::uint32_t samples = 0;
};

struct TraverseRequest {
  double length_mm = 0.0;
  double spacing_mm = 0.0;
  double speed_mm_per_s = 0.0;
};

struct TraverseResult {
  base::Heights
      heights;  // spacing, step and speed as the gauge states them, which may differ from the request
  base::MonotonicInstant last_sample_arrived;  // std::chrono::steady_clock, as everything in this room
  std::uint32_t resend_rounds = 0;             // times that lost samples had to be asked for
  std::uint32_t resent_samples = 0;
};

// Counted since the gauge object was made, over all reconnections.
struct GaugeHealth {
  std::uint64_t frames_good = 0;
  std::uint64_t frames_damaged = 0;
  std::uint64_t frames_overlong = 0;
  std::uint64_t frames_malformed = 0;
  std::uint64_t frames_unknown_type = 0;
  std::uint64_t frames_other_version = 0;
  std::uint64_t frames_unexpected = 0;  // whole, but no answer to anything asked
  std::uint64_t repeats = 0;            // requests sent again
  std::uint64_t resends = 0;            // gaps asked for again
  std::uint64_t connections = 0;        // times that the port was opened
  std::optional<double> seconds_since_last_byte;
  std::optional<bool> stylus_clear_seen;  // as the gauge last said, unasked; absent while offline
  std::optional<bool> moving_seen;
};

// Purpose    one gauge on one port. All requests are bounded in time. One at a time: a second one while the
//            first runs fails with kBusy, except abort().
// Threads    all calls on the executor it was made with.
// Lifetime   outlives its waiting calls.
// Errors     kNoReply silent; kChecksum, kMalformed, kTruncated: damaged after every retry; kRefused,
//            kOutOfRange: the gauge will not; kNotSupported: it speaks another version; kWrongIdentity:
//            another gauge answered; kDeviceFault: its own fault; kStopped: stopped in the middle;
//            kRestarted; kDisconnected: the port; kCancelled: abort() ended it. gauge_reason.h maps them to
//            the reason shown to the line.
class Gauge {
 public:
  virtual ~Gauge() = default;

  [[nodiscard]] virtual Awaitable<base::Result<base::GaugeIdentity>> identify() = 0;
  [[nodiscard]] virtual Awaitable<base::Result<GaugeState>> state() = 0;

  // Pre  averaging of 10 to 2000 ms; else kOutOfRange.
  [[nodiscard]] virtual Awaitable<base::Result<StillReading>> still_reading(
      std::chrono::milliseconds averaging) = 0;

  // Ends with every sample in its place, or with an error: never with a filled hole. In both cases the stylus
  // must be taken to be down until retract() has ended without an error.
  [[nodiscard]] virtual Awaitable<base::Result<TraverseResult>> traverse(TraverseRequest request) = 0;

  // Stops what runs: a waiting traverse() ends with kCancelled. Ends with the stylus clear, or with an error.
  [[nodiscard]] virtual Awaitable<base::Outcome> abort() = 0;

  // Ends with the stylus clear, or with an error.
  [[nodiscard]] virtual Awaitable<base::Outcome> retract() = 0;

  [[nodiscard]] virtual GaugeHealth health() const = 0;

  // True while the right gauge answers. While false, offline_reason() says why.
  [[nodiscard]] virtual bool online() const = 0;
  [[nodiscard]] virtual base::Error offline_reason() const = 0;

  // Called on the executor after every change of online(), and while offline whenever the reason changes;
  // replaces an earlier listener. The listener may call the gauge, but must not destroy it.
  virtual void on_change(std::function<void()> listener) = 0;

  // Lets go of the port for good; waiting calls end with an error soon.
  virtual void stop() = 0;
};

}  // namespace crestgate::driver
