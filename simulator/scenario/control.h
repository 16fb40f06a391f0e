// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the world around the gauge can be told to do, a line at a time.

#include <string>
#include <string_view>

#include "simulator/link/gauge.h"
#include "simulator/scenario/bench.h"

namespace crestgate::simulator {

// Purpose  answers each command with one line, "ok ..." or "error ...", without its line end.
//          place PART [stage N], zone K, remove, fault KIND ..., fault clear, state, quit
class ControlDesk {
 public:
  // Lifetime  both outlive the desk.
  ControlDesk(Bench& bench, const Gauge& gauge) : bench_(bench), gauge_(gauge) {}

  std::string answer(std::string_view command);

  [[nodiscard]] bool quit_wanted() const { return quit_wanted_; }

 private:
  std::string place(class Words& words);
  std::string zone(class Words& words);
  std::string remove(class Words& words);
  std::string fault(class Words& words, std::string_view command);
  [[nodiscard]] std::string state() const;

  Bench& bench_;
  const Gauge& gauge_;
  bool quit_wanted_ = false;
};

}  // namespace crestgate::simulator
