// SPDX-License-Identifier: Apache-2.0
// Any text as a plan: refused in one line, or understood whole.

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "daemon/cell/config/plan_description.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const auto plan = crestgate::cell::read_plan(text, "plan.toml");
  if (plan.has_value()) {
    if (plan->part_plan.zones.empty() || !crestgate::analysis::check_plan(plan->part_plan).has_value())
      std::abort();
  } else if (plan.error().detail.find('\n') != std::string::npos) {
    std::abort();
  }
  return 0;
}
