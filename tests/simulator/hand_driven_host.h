// SPDX-License-Identifier: Apache-2.0
#pragma once
// A host whose clock is turned by hand, and a world under the stylus that is known in full.

#include <cstdint>
#include <functional>
#include <utility>
#include <variant>
#include <vector>

#include "base/clock.h"
#include "simulator/link/gauge.h"
#include "simulator/link/line.h"
#include "simulator/link/messages.h"

namespace crestgate::simulator {

// Heights 0, 7, 14 ... and whatever fault the test asks for.
class KnownWorld : public TraverseSource {
 public:
  TracedHeights traverse(const TraverseOrder& order) override {
    ++traverses;
    TracedHeights traced{.counts = {},
                         .quality = quality,
                         .upsets = std::exchange(upsets, {}),
                         .under_previous_id = under_previous_id};
    for (std::uint32_t i = 0; i < order.samples(); ++i)
      traced.counts.push_back(static_cast<std::int32_t>(7 * i));
    return traced;
  }
  StillReading still(bool touching, std::uint16_t averaging_ms) override {
    return {.height_count = touching ? 17 : 0, .scatter_pm = 4200, .samples = averaging_ms};
  }
  [[nodiscard]] LineFaultSettings line_faults() const override { return faults; }

  int traverses = 0;
  std::uint16_t quality = 0;
  std::vector<Upset> upsets;
  bool under_previous_id = false;
  LineFaultSettings faults;
};

// Drives a Gauge or a Line (anything with step and next_due) event by event.
class HandDrivenHost {
 public:
  using Step = std::function<Bytes(ByteView, base::MonotonicInstant)>;
  using NextDue = std::function<base::MonotonicInstant()>;

  HandDrivenHost(Step step, NextDue next_due) : step_(std::move(step)), next_due_(std::move(next_due)) {}

  // Sends one request and keeps what is answered at once. The zero before it is what a sender owes after
  // opening and after silence; it never does harm.
  void say(std::uint16_t sequence, const Message& message) {
    Bytes bytes = {0};
    const Bytes wire = wire_of(frame_of(sequence, message));
    bytes.insert(bytes.end(), wire.begin(), wire.end());
    take(step_(bytes, now_));
  }
  void say_bytes(ByteView bytes) { take(step_(bytes, now_)); }

  // Lets time pass, from event to event.
  void wait_ms(std::int64_t ms) {
    const base::MonotonicInstant until = base::after_ms(now_, ms);
    while (next_due_() <= until) {
      now_ = std::max(now_, next_due_());
      take(step_({}, now_));
    }
    now_ = until;
    take(step_({}, now_));
  }
  // As wait_ms, with the pulses of a host that lives.
  void wait_alive_ms(std::int64_t ms) {
    for (std::int64_t passed = 0; passed < ms; passed += 500) {
      say(0, HostPulse{});
      wait_ms(std::min<std::int64_t>(500, ms - passed));
    }
  }

  // Everything of one kind that arrived since the last call of clear(), with its sequence.
  template <class T>
  [[nodiscard]] std::vector<std::pair<std::uint16_t, T>> heard() const {
    std::vector<std::pair<std::uint16_t, T>> found;
    for (const Received& received : received_) {
      if (const T* message = std::get_if<T>(&received.message))
        found.emplace_back(received.sequence, *message);
    }
    return found;
  }
  // Without the pulses.
  [[nodiscard]] std::size_t answers() const { return received_.size() - heard<GaugePulse>().size(); }
  void clear() { received_.clear(); }

  [[nodiscard]] base::MonotonicInstant now() const { return now_; }
  [[nodiscard]] const Bytes& all_bytes() const { return all_bytes_; }
  [[nodiscard]] const Receiver& receiver() const { return receiver_; }

 private:
  void take(const Bytes& bytes) {
    all_bytes_.insert(all_bytes_.end(), bytes.begin(), bytes.end());
    for (Received& received : receiver_.feed(bytes)) received_.push_back(std::move(received));
  }

  Step step_;
  NextDue next_due_;
  base::MonotonicInstant now_;
  Receiver receiver_;
  std::vector<Received> received_;
  Bytes all_bytes_;
};

inline HandDrivenHost host_of(Gauge& gauge) {
  return {[&gauge](ByteView in, base::MonotonicInstant now) { return gauge.step(in, now).bytes; },
          [&gauge] { return gauge.next_due(); }};
}
inline HandDrivenHost host_of(Line& line) {
  return {[&line](ByteView in, base::MonotonicInstant now) { return line.step(in, now).bytes; },
          [&line] { return line.next_due(); }};
}

}  // namespace crestgate::simulator
