// SPDX-License-Identifier: Apache-2.0
// Any text as a plan, or any two as a plan and its family: refused in one line, or understood whole; and what the ledger
// keeps of it is read back as the same plan. The family stands behind a line of its own.

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "daemon/cell/config/plan_description.h"

namespace {

using crestgate::cell::PlanDescription;

constexpr std::string_view kBorder = "\n%family\n";

crestgate::base::Result<PlanDescription> read(std::string_view text) {
  const std::size_t border = text.find(kBorder);
  if (border == std::string_view::npos) return crestgate::cell::read_complete_plan(text, "plan.toml");
  return crestgate::cell::read_plan_with_family(
      {.text = text.substr(0, border + 1), .source = "plan.toml"},
      {.text = text.substr(border + kBorder.size()), .source = "family.toml"});
}

void expect(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const auto plan = read({reinterpret_cast<const char*>(data), size});
  if (!plan.has_value()) {
    expect(plan.error().detail.find('\n') == std::string::npos);
    return 0;
  }
  expect(!plan->part_plan.zones.empty());
  expect(crestgate::analysis::check_plan(plan->part_plan).has_value());
  const auto again = crestgate::cell::read_complete_plan(plan->document.content, plan->document.source);
  expect(again.has_value() && *again == *plan);
  return 0;
}
