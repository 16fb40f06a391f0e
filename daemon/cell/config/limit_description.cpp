// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/limit_description.h"

#include <array>
#include <utility>

#include "analysis/settings/parameter_alias.h"
#include "analysis/texture/ratio_symbol.h"

namespace crestgate::cell {
namespace {

using base::AcceptanceRule;

constexpr std::array<std::pair<std::string_view, AcceptanceRule>, 3> kRules = {
    {{"Tmax", AcceptanceRule::kMaximum},
     {"T16%", AcceptanceRule::kSixteenPercent},
     {"Tmed", AcceptanceRule::kMedian}}};

}  // namespace

std::string read_limit_symbol(TableReader& table) {
  std::string written = table.text("parameter");
  if (written.size() == 3 && written.ends_with("mr") && table.has("reference_percent")) {
    written = analysis::symbol_of({.profile = written.front(),
                                   .family = analysis::RatioFamily::kRatioAtDepth,
                                   .first = table.number("reference_percent", {0.0, 100.0}),
                                   .second = table.number("depth_um", {0.0, 1000.0})});
  }
  const auto resolved = analysis::resolve_parameter_name(written);
  if (!resolved) {
    table.complain("parameter", resolved.error().detail);
    return written;
  }
  return resolved->symbol;
}

std::vector<base::Limit> read_limits(std::span<TableReader> tables) {
  std::vector<base::Limit> limits;
  for (TableReader& table : tables) {
    base::Limit limit;
    limit.symbol = read_limit_symbol(table);
    limit.unit = table.text_if_given("unit").value_or("");
    if (limit.unit == "\xC2\xB5m") limit.unit = "um";
    limit.lower = table.number_if_given("lower", {-1e6, 1e6});
    limit.upper = table.number_if_given("upper", {-1e6, 1e6});
    limit.rule = table.choice<AcceptanceRule>("rule", kRules);
    if (!limit.lower && !limit.upper)
      table.complain("parameter", "expected a lower or an upper limit, found neither");
    if (limit.lower && limit.upper && *limit.lower > *limit.upper) {
      table.complain("lower", "the lower limit is above the upper one");
    }
    table.finish();
    limits.push_back(std::move(limit));
  }
  return limits;
}

}  // namespace crestgate::cell
