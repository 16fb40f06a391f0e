// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/gauge.h"

#include <utility>

#include "base/expects.h"
#include "simulator/surface/random.h"

namespace crestgate::simulator {

Gauge::Gauge(GaugeTraits traits, TraverseSource& source, base::MonotonicInstant powered_on)
    : traits_(std::move(traits)), source_(source) {
  CRESTGATE_EXPECTS(traits_.speed_scale > 0.0);
  CRESTGATE_EXPECTS(traits_.height_step_pm > 0 && traits_.smallest_spacing_nm > 0);
  power_on(powered_on);
}

// Losing power lets the spring take the stylus up, so a gauge always wakes with its stylus clear.
void Gauge::power_on(base::MonotonicInstant now) {
  ++boots_;
  boot_id_ = derive_seed(derive_seed(traits_.boot_seed, traits_.serial_number), boots_);
  powered_on_ = now;
  booting_ = false;
  begin_with_zero_ = true;
  last_heard_ = now;
  pulse_due_ = now;
  stylus_clear_ = true;
  fault_ = 0;
  fault_ends_.reset();
  run_.reset();
  kept_.reset();
  previous_id_.reset();
  lifted_at_.reset();
  lift_sequence_.reset();
  still_.reset();
  last_request_.reset();
  last_answer_.clear();
  receiver_.reopen();
}

void Gauge::port_opened() {
  begin_with_zero_ = true;
  unread_.clear();
  receiver_.reopen();
}

GaugeStep Gauge::step(ByteView arrived, base::MonotonicInstant now) {
  unread_.insert(unread_.end(), arrived.begin(), arrived.end());
  do {
    if (hang_) {
      if (now < hang_->ends) return std::exchange(out_, {});
      lag_ns_ += hang_->lasts_ns;
      hang_.reset();
    }
    advance(inside(now));
  } while (hang_);
  const Bytes heard = std::exchange(unread_, {});
  if (!booting_) {
    for (const Received& received : receiver_.feed(heard)) hear(received, inside(now));
  }
  return std::exchange(out_, {});
}

base::MonotonicInstant Gauge::next_due() const { return hang_ ? hang_->ends : outside(next_event()); }

void Gauge::emit(const Frame& frame, base::MonotonicInstant now) {
  constexpr std::int64_t kSilenceNs = 1000 * base::kNsPerMs;  // LINK.md, receiver rule 1
  if (begin_with_zero_ || now - last_sent_ >= kSilenceNs) out_.bytes.push_back(0);
  begin_with_zero_ = false;
  last_sent_ = now;
  const Bytes wire = wire_of(frame);
  out_.bytes.insert(out_.bytes.end(), wire.begin(), wire.end());
  out_.frames.push_back({.end = out_.bytes.size(), .type = frame.type});
}

std::uint8_t Gauge::motion() const {
  if (fault_ != 0) return 2;
  return moving() ? 1 : 0;
}

std::int32_t Gauge::height_now() const {
  if (stylus_clear_) return kNoSampleCount;
  if (run_ && run_->sent > 0) return run_->heights.counts[run_->sent - 1];
  if (!run_ && kept_) return kept_->height_counts.back();
  return kNoSampleCount;
}

}  // namespace crestgate::simulator
