// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/line.h"

#include <algorithm>
#include <limits>
#include <utility>

namespace crestgate::simulator {

namespace {

constexpr base::MonotonicInstant kPast{std::numeric_limits<std::int64_t>::min()};
constexpr std::uint32_t kBitsPerByte = 10;  // with start and stop bit
constexpr base::MonotonicInstant kNever{std::numeric_limits<std::int64_t>::max()};

}  // namespace

Line::Line(Gauge& gauge, const TraverseSource& source, const LineOptions& options)
    : gauge_(gauge),
      source_(source),
      fault_(options.seed),
      frame_fault_(options.seed),
      baud_(options.baud),
      pace_(options.baud),
      silent_until_(kPast),
      unplugged_until_(kPast) {}

bool Line::dead(base::MonotonicInstant now) const { return now < silent_until_ || now < unplugged_until_; }

bool Line::host_heard(base::MonotonicInstant now) const {
  return now < base::after_ms(gauge_.last_heard(), 3000);  // LINK.md, section 2: then the gauge gives it up
}

void Line::port_opened() {
  pace_.clear();
  frame_fault_.reopen();
  gauge_.port_opened();
}

LineStep Line::step(ByteView arrived, base::MonotonicInstant now) {
  end_slowness(now);
  const LineFaultSettings faults = source_.line_faults();
  const Bytes heard = dead(now) ? Bytes{} : fault_.pass(arrived, Direction::kToGauge, faults);
  carry(gauge_.step(heard, now), faults, now);
  unplugged_ = now < unplugged_until_;
  if (unplugged_) {
    pace_.clear();
    released_.clear();
  }
  release(now);
  return {.bytes = std::exchange(released_, {}),
          .plugged = !unplugged_,
          .replug = replug_,
          .reading = !gauge_.hung()};
}

void Line::release(base::MonotonicInstant now) {
  const Bytes left = pace_.release(now);
  released_.insert(released_.end(), left.begin(), left.end());
}

void Line::end_slowness(base::MonotonicInstant now) {
  if (!slow_until_ || now < *slow_until_) return;
  release(*slow_until_);
  pace_.change_rate(baud_, *slow_until_);
  slow_until_.reset();
}

// Frame by frame. What hits a frame comes before it, everything else after it.
void Line::carry(const GaugeStep& said, const LineFaultSettings& faults, base::MonotonicInstant now) {
  const auto meet_those_at = [&](std::size_t end, bool frame_hits) {
    for (const LineUpset& happened : said.line_upsets) {
      if (happened.after_bytes != end || hits_a_frame(happened.upset.kind) != frame_hits) continue;
      if (frame_hits) {
        frame_fault_.strike(happened.upset.kind);
      } else {
        meet(happened, now);
      }
    }
  };
  meet_those_at(0, false);
  std::size_t begin = 0;
  for (const GaugeStep::SentFrame& frame : said.frames) {
    meet_those_at(frame.end, true);
    const Bytes left =
        frame_fault_.pass(ByteView(said.bytes).subspan(begin, frame.end - begin), frame.type, faults.frames);
    if (!dead(now)) pace_.push(fault_.pass(left, Direction::kToHost, faults), now);
    begin = frame.end;
    meet_those_at(frame.end, false);
  }
}

void Line::meet(const LineUpset& happened, base::MonotonicInstant now) {
  const Upset& upset = happened.upset;
  const base::MonotonicInstant until = upset.for_ms == 0 ? kNever : base::after_ms(happened.at, upset.for_ms);
  if (upset.kind == Upset::Kind::kDisconnect) {
    unplugged_until_ = until;
    replug_ = upset.replug;
  } else if (upset.kind == Upset::Kind::kSlow) {
    release(now);
    pace_.change_rate(kBitsPerByte * upset.bytes_per_s, now);
    slow_until_ = until;
  } else {
    silent_until_ = until;
  }
}

base::MonotonicInstant Line::next_due() const {
  base::MonotonicInstant due = gauge_.next_due();
  if (const auto next = pace_.next_due()) due = std::min(due, *next);
  if (unplugged_) due = std::min(due, unplugged_until_);
  if (slow_until_) due = std::min(due, *slow_until_);
  return due;
}

}  // namespace crestgate::simulator
