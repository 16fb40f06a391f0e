// SPDX-License-Identifier: Apache-2.0
#pragma once
// The software gauge: what it answers and when. Pure: bytes and the time in, bytes and the time of the next
// event out. No port, no clock; the same steps give the same bytes.
//
// Source  protocol/link/LINK.md; what the page leaves open is answered in simulator/SCENARIO.md.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/clock.h"
#include "simulator/link/bytes.h"
#include "simulator/link/messages.h"
#include "simulator/link/traverse_source.h"

namespace crestgate::simulator {

struct GaugeTraits {
  std::string model = "Software gauge";
  std::string serial_number = "SN-0001";
  std::string firmware = "1.0.0";
  std::uint32_t tip_radius_nm = 2000;  // 0: an ideal point, told as unknown
  std::uint32_t range_nm = 1'000'000;
  std::uint32_t height_step_pm = 1000;
  std::uint32_t smallest_spacing_nm = 100;
  std::uint32_t longest_traverse_um = 20'000;
  std::uint32_t slowest_um_per_s = 50;
  std::uint32_t fastest_um_per_s = 2000;
  double speed_scale = 1.0;     // the stylus moves this many times faster than it says
  std::uint64_t boot_seed = 0;  // boot ids follow from it
};

// Something that happens to the line and not to the gauge.
struct LineUpset {
  Upset upset;
  std::size_t after_bytes =
      0;  // of the same step's bytes, which still went out; the end of the frame that is hit
  base::MonotonicInstant at;
};

// What leaves the gauge in one step.
struct GaugeStep {
  struct SentFrame {
    std::size_t end = 0;  // in `bytes`; the next frame begins there
    std::uint8_t type = 0;
  };
  Bytes bytes;
  std::vector<SentFrame> frames;  // in order; together they are all bytes
  std::vector<LineUpset> line_upsets;
};

class Gauge {
 public:
  // Lifetime  `source` outlives the gauge.
  Gauge(GaugeTraits traits, TraverseSource& source, base::MonotonicInstant powered_on);

  // Everything that is due up to `now`, then the answers to `arrived`.
  // Pre     `now` does not go backwards.
  GaugeStep step(ByteView arrived, base::MonotonicInstant now);

  // The latest moment at which step() has to be called again.
  [[nodiscard]] base::MonotonicInstant next_due() const;

  // The host opened the port anew: the next output begins with a zero, the first fragment is dropped.
  void port_opened();

  [[nodiscard]] bool stylus_clear() const { return stylus_clear_; }
  [[nodiscard]] bool moving() const { return run_.has_value() || lifted_at_.has_value(); }
  [[nodiscard]] std::uint16_t fault() const { return fault_; }
  [[nodiscard]] std::uint64_t boot_id() const { return boot_id_; }
  [[nodiscard]] base::MonotonicInstant last_heard() const { return outside(last_heard_); }
  [[nodiscard]] bool hung() const { return hang_.has_value(); }
  [[nodiscard]] ReceiveCounters counters() const { return receiver_.counters(); }

 private:
  struct Run {  // a traverse under way
    StartTraverse request;
    std::uint16_t sequence = 0;
    std::uint32_t told_id = 0;  // in chunks and FINISHED
    TracedHeights heights;
    base::MonotonicInstant first_sample_at;
    std::uint32_t sent = 0;
    bool stalled = false;
  };
  struct Kept {  // the last traverse, for RESEND
    std::uint32_t traverse_id = 0;
    std::vector<std::int32_t> height_counts;
    Finished finished;
  };
  struct PendingStill {
    std::uint16_t sequence = 0;
    std::uint16_t averaging_ms = 0;
    base::MonotonicInstant due;
  };

  struct Hang {
    base::MonotonicInstant ends;  // outside
    std::int64_t lasts_ns = 0;
  };

  void power_on(base::MonotonicInstant now);

  // A gauge that hung lives in the past by as long as it hung. All moments inside are its own.
  [[nodiscard]] base::MonotonicInstant inside(base::MonotonicInstant at) const { return {at.ns - lag_ns_}; }
  [[nodiscard]] base::MonotonicInstant outside(base::MonotonicInstant at) const { return {at.ns + lag_ns_}; }

  // gauge_requests.cpp: what an arrived message makes the gauge do
  void hear(const Received& received, base::MonotonicInstant now);
  void act(const Hello& request, base::MonotonicInstant now);
  void act(const AskState& request, base::MonotonicInstant now);
  void act(const AskStill& request, base::MonotonicInstant now);
  void act(const StartTraverse& request, base::MonotonicInstant now);
  void act(const Resend& request, base::MonotonicInstant now);
  void act(const Abort& request, base::MonotonicInstant now);
  void act(const Retract& request, base::MonotonicInstant now);
  void act(const HostPulse& request, base::MonotonicInstant now);
  // What only a gauge sends (an echo of ourselves): never answered, or two gauges would talk for ever.
  template <class Other>
  void act(const Other& /*message*/, base::MonotonicInstant /*now*/) {}
  void answer(const Message& message, base::MonotonicInstant now);
  void refuse(std::uint8_t type, Refusal refusal, const std::string& text, base::MonotonicInstant now);
  void lift_and_tell(base::MonotonicInstant now);

  // gauge_timeline.cpp: what the passing of time makes it do
  void advance(base::MonotonicInstant now);
  [[nodiscard]] base::MonotonicInstant next_event() const;
  void fire(base::MonotonicInstant at);
  void send_due_chunk(base::MonotonicInstant at);
  void meet_upsets(base::MonotonicInstant at);
  void meet(const Upset& upset, base::MonotonicInstant at);
  void tell_line(const Upset& upset, base::MonotonicInstant at);
  void finish_run(base::MonotonicInstant at);
  void finish_lift(base::MonotonicInstant at);
  void answer_still(base::MonotonicInstant at);
  void begin_lift(base::MonotonicInstant now);
  [[nodiscard]] std::uint32_t next_chunk_end() const;
  [[nodiscard]] base::MonotonicInstant measured_at(std::uint32_t samples) const;
  [[nodiscard]] std::int64_t scaled_ns(std::int64_t ms) const;

  void emit(const Frame& frame, base::MonotonicInstant now);
  [[nodiscard]] std::uint8_t motion() const;
  [[nodiscard]] std::int32_t height_now() const;

  GaugeTraits traits_;
  TraverseSource& source_;
  Receiver receiver_;
  GaugeStep out_;

  std::optional<Hang> hang_;
  std::int64_t lag_ns_ = 0;
  Bytes unread_;  // while it hangs

  std::uint64_t boots_ = 0;
  std::uint64_t boot_id_ = 0;
  base::MonotonicInstant powered_on_;
  bool booting_ = false;
  bool begin_with_zero_ = true;
  base::MonotonicInstant last_sent_;
  base::MonotonicInstant last_heard_;
  base::MonotonicInstant pulse_due_;

  bool stylus_clear_ = true;
  std::uint16_t fault_ = 0;
  std::optional<base::MonotonicInstant> fault_ends_;
  std::optional<Run> run_;
  std::optional<Kept> kept_;
  std::optional<std::uint32_t> previous_id_;         // of the last traverse that was started
  std::optional<base::MonotonicInstant> lifted_at_;  // while the stylus goes up
  std::optional<std::uint16_t> lift_sequence_;       // of the request that waits for DONE
  std::optional<PendingStill> still_;

  std::optional<Received> last_request_;
  std::vector<Frame> last_answer_;  // empty while it is not known yet
};

}  // namespace crestgate::simulator
