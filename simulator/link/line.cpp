// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/line.h"

#include <algorithm>
#include <limits>

namespace crestgate::simulator {

namespace {

constexpr base::MonotonicInstant kPast{std::numeric_limits<std::int64_t>::min()};
constexpr base::MonotonicInstant kNever{std::numeric_limits<std::int64_t>::max()};

}  // namespace

Line::Line(Gauge& gauge, const TraverseSource& source, const LineOptions& options)
    : gauge_(gauge),
      source_(source),
      fault_(options.seed),
      pace_(options.baud),
      silent_until_(kPast),
      unplugged_until_(kPast) {}

bool Line::dead(base::MonotonicInstant now) const { return now < silent_until_ || now < unplugged_until_; }

bool Line::host_heard(base::MonotonicInstant now) const {
  return now < base::after_ms(gauge_.last_heard(), 3000);  // LINK.md, section 2: then the gauge gives it up
}

void Line::port_opened() {
  pace_.clear();
  gauge_.port_opened();
}

LineStep Line::step(ByteView arrived, base::MonotonicInstant now) {
  const LineFaultSettings faults = source_.line_faults();
  const Bytes heard = dead(now) ? Bytes{} : fault_.pass(arrived, Direction::kToGauge, faults);
  const GaugeStep said = gauge_.step(heard, now);
  std::size_t at = 0;
  const auto carry_up_to = [&](std::size_t end) {
    if (!dead(now))
      pace_.push(fault_.pass(ByteView(said.bytes).subspan(at, end - at), Direction::kToHost, faults), now);
    at = end;
  };
  for (const LineUpset& happened : said.line_upsets) {
    carry_up_to(happened.after_bytes);
    const base::MonotonicInstant until =
        happened.upset.for_ms == 0 ? kNever : base::after_ms(happened.at, happened.upset.for_ms);
    if (happened.upset.kind == Upset::Kind::kDisconnect) {
      unplugged_until_ = until;
    } else {
      silent_until_ = until;
    }
  }
  carry_up_to(said.bytes.size());
  unplugged_ = now < unplugged_until_;
  if (unplugged_) pace_.clear();
  return {.bytes = pace_.release(now), .plugged = !unplugged_};
}

base::MonotonicInstant Line::next_due() const {
  base::MonotonicInstant due = gauge_.next_due();
  if (const auto next = pace_.next_due()) due = std::min(due, *next);
  if (unplugged_) due = std::min(due, unplugged_until_);
  return due;
}

}  // namespace crestgate::simulator
