// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/coil_plan.h"

#include "base/expects.h"

namespace crestgate::driver {

void CoilPlan::want(std::span<const bool> lit, Time now) {
  CRESTGATE_EXPECTS(lit.size() == wanted_.size());
  wanted_.assign(lit.begin(), lit.end());
  told_ = now;
}

std::vector<bool> CoilPlan::target(Time now) {
  if (!known_) return dark();
  if (fault_ && shown_ == dark() && wanted_ != *fault_) fault_.reset();
  if (fault_ || now > told_ + told_within_) return dark();
  std::vector<bool> kept = wanted_;
  bool switches_off = false;
  for (std::size_t i = 0; i < kept.size(); ++i) {
    kept[i] = wanted_[i] && shown_[i];
    switches_off = switches_off || (shown_[i] && !wanted_[i]);
  }
  return switches_off ? kept : wanted_;
}

void CoilPlan::confirmed(const std::vector<bool>& written, Time now) {
  shown_ = written;
  under_way_.reset();
  known_ = true;
  confirmed_at_ = now;
}

void CoilPlan::mismatched(const std::vector<bool>& written) {
  doubt();
  // Off that does not go off says nothing new about what was wanted.
  if (!fault_ || written != dark()) fault_ = wanted_;
}

void CoilPlan::doubt() {
  known_ = false;
  under_way_.reset();
}

bool CoilPlan::shows_wanted() const {
  return known_ && shown_ == wanted_ && (!under_way_ || *under_way_ == wanted_);
}

}  // namespace crestgate::driver
