// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/lights/light.h"

#include "driver/signal/signal_output.h"

namespace crestgate::driver {
namespace {

bool asks_for(base::Fate fate, const base::CellSignal& signal) {
  return signal.result_valid && signal.fate == fate;
}

// Whatever its fate: a site may keep such parts aside.
bool passed_over(const base::CellSignal& signal) {
  return signal.result_valid &&
         (signal.reason == base::Reason::kNotSampled || signal.reason == base::Reason::kBypassed);
}

}  // namespace

bool is_lit(Shows shows, const base::CellSignal& signal) {
  switch (shows) {
    case Shows::kAccept:
      return shows_accept(signal) && signal.lamp == base::Lamp::kGreen;
    case Shows::kReject:
      return signal.lamp == base::Lamp::kRed;
    case Shows::kAct:
      return signal.operator_wanted || signal.lamp == base::Lamp::kBlueFlashing;
    case Shows::kNotMeasured:
      return signal.bypass_active || passed_over(signal);
    case Shows::kMeasuring:
      return signal.state == base::CellState::kMeasuring;
    case Shows::kRework:
      return asks_for(base::Fate::kRework, signal);
    case Shows::kScrap:
      return asks_for(base::Fate::kScrap, signal);
    case Shows::kQuarantine:
      return asks_for(base::Fate::kQuarantine, signal);
    case Shows::kMeasureAgain:
      return asks_for(base::Fate::kMeasureAgain, signal);
  }
  return false;
}

std::string_view name_of(Shows shows) {
  switch (shows) {
    case Shows::kAccept:
      return "accept";
    case Shows::kReject:
      return "reject";
    case Shows::kAct:
      return "act";
    case Shows::kNotMeasured:
      return "not measured";
    case Shows::kMeasuring:
      return "measuring";
    case Shows::kRework:
      return "rework";
    case Shows::kScrap:
      return "scrap";
    case Shows::kQuarantine:
      return "quarantine";
    case Shows::kMeasureAgain:
      return "measure again";
  }
  return "unknown";
}

}  // namespace crestgate::driver
