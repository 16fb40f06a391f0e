// SPDX-License-Identifier: Apache-2.0
// Any text as a scenario, and as a fault on the control port: refused in one line, or understood whole.

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "simulator/scenario/scenario.h"

using namespace crestgate::simulator;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

bool one_line(const std::string& text) { return !text.empty() && text.find('\n') == std::string::npos; }

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto scenario = parse_scenario(text, "any.scenario");
  if (!scenario) {
    require(one_line(scenario.error().detail));
  } else {
    require(!scenario->parts.empty());
    for (const auto& [part, zones] : scenario->parts) {
      require(!zones.empty());
      for (const auto& [zone, surface] : zones) {
        require(scenario->zones.contains(zone) && !scenario->surfaces.at(surface).empty());
      }
    }
  }

  const std::string_view line = text.substr(0, text.find('\n'));
  const auto plan = parse_fault(line, "control");
  if (!plan) {
    require(one_line(plan.error().detail));
  } else {
    require(plan->for_ms >= 0 && plan->bytes_per_s > 0 && plan->wavelength_mm > 0.0);
    require(!(plan->probability && plan->after_samples));
  }
  return 0;
}
