// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/line_holder.h"

#include <algorithm>

#include "base/expects.h"

namespace crestgate::driver {

void LineHolder::left(std::uint64_t connection) {
  peers_.erase(connection);
  if (!held_) return;
  if (held_->writer == connection) held_->writer = 0;
  const bool is_there = std::any_of(peers_.begin(), peers_.end(),
                                    [this](const auto& entry) { return entry.second == held_->peer; });
  if (!is_there) held_.reset();
}

bool LineHolder::is_held(Time now) const { return held_ && now - held_->written <= rules_.holder_silence; }

Claim LineHolder::claim(std::uint64_t connection, Time now) {
  const auto found = peers_.find(connection);
  CRESTGATE_EXPECTS(found != peers_.end());
  const std::string& peer = found->second;
  const auto& allowed = rules_.allowed_writers;
  const bool may_ever = allowed.empty() || std::find(allowed.begin(), allowed.end(), peer) != allowed.end();
  const bool other_holds = is_held(now) && held_->peer != peer;
  if (!may_ever || other_holds) {
    contest_ends_ = now + rules_.contest_shown;
    return may_ever ? Claim::kOtherHolds : Claim::kNotAllowed;
  }
  held_ = Held{.peer = peer, .writer = connection, .written = now};
  return Claim::kGranted;
}

}  // namespace crestgate::driver
