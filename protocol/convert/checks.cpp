// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/checks.h"

#include <cmath>

#include "protocol/convert/problems.h"

namespace crestgate::protocol {
namespace {

constexpr Range kSpacingMm{.lowest = 0.0, .highest = 1000.0};
constexpr Range kHeightStepUm{.lowest = 0.0, .highest = 1000.0};
constexpr Range kSpeedMmPerS{.lowest = 0.0, .highest = 10'000.0};
constexpr Range kPositionMm{.lowest = -1e6, .highest = 1e6};
constexpr Range kTipRadiusUm{.lowest = 0.0, .highest = 1e5, .lowest_allowed = false};
constexpr Range kRangeUm{.lowest = 0.0, .highest = 1e6, .lowest_allowed = false};

void check_text(Problems& problems, std::string_view field, const std::optional<std::string>& value) {
  if (value) problems.text(field, *value);
}

void check_finite(Problems& problems, std::string_view field, const std::optional<double>& value) {
  if (value) problems.finite(field, *value);
}

void check_identity(Problems& problems, const base::PartIdentity& identity) {
  check_text(problems, "identity.part_id", identity.part_id);
  check_text(problems, "identity.batch", identity.batch);
  check_text(problems, "identity.machine", identity.machine);
}

void check_gauge(Problems& problems, const base::GaugeIdentity& gauge) {
  problems.text("gauge.kind", gauge.kind);
  problems.text("gauge.model", gauge.model);
  problems.text("gauge.serial_number", gauge.serial_number);
  problems.text("gauge.firmware", gauge.firmware);
  if (gauge.tip_radius_um) problems.number("gauge.tip_radius_um", *gauge.tip_radius_um, kTipRadiusUm);
  if (gauge.range_um) problems.number("gauge.range_um", *gauge.range_um, kRangeUm);
}

void check_heights(Problems& problems, const base::Heights& heights) {
  // Without samples the two scales say nothing and may be zero.
  Range spacing = kSpacingMm;
  Range step = kHeightStepUm;
  spacing.lowest_allowed = heights.counts.empty();
  step.lowest_allowed = heights.counts.empty();
  problems.number("heights.spacing_mm", heights.spacing_mm, spacing);
  problems.number("heights.height_step_um", heights.height_step_um, step);
  problems.number("heights.speed_mm_per_s", heights.speed_mm_per_s, kSpeedMmPerS);
}

std::optional<base::Error> first_problem(const base::Traverse& traverse) {
  Problems problems("traverse.");
  check_identity(problems, traverse.identity);
  problems.text("cell", traverse.cell);
  problems.text("plan", traverse.plan);
  problems.text("zone", traverse.zone);
  check_gauge(problems, traverse.gauge);
  if (traverse.position_mm) problems.number("position_mm", *traverse.position_mm, kPositionMm);
  check_heights(problems, traverse.heights);
  return problems.first();
}

void check_result(Problems& problems, const base::ParameterResult& result) {
  problems.text("zone", result.zone);
  problems.text("symbol", result.symbol);
  problems.text("unit", result.unit);
  // Not a number says that the parameter does not exist on that trace; an infinity says that somebody
  // miscalculated.
  for (const double value : result.values) {
    if (!std::isnan(value)) problems.finite("values", value);
  }
  if (!std::isnan(result.decided)) problems.finite("decided", result.decided);
  check_finite(problems, "lower", result.lower);
  check_finite(problems, "upper", result.upper);
}

std::optional<base::Error> first_problem(const base::Judgement& judgement) {
  Problems problems("judgement.");
  check_identity(problems, judgement.identity);
  problems.text("cell", judgement.cell);
  problems.text("plan", judgement.plan);
  problems.text("detail", judgement.detail);
  problems.text("software_version", judgement.software_version);
  if (judgement.deciding && *judgement.deciding >= judgement.results.size()) {
    problems.say(base::ErrorCode::kOutOfRange, "deciding",
                 "is " + std::to_string(*judgement.deciding) + ", but there are " +
                     std::to_string(judgement.results.size()) + " results");
  }
  for (std::size_t i = 0; i < judgement.results.size() && !problems.first(); ++i) {
    problems.set_prefix("judgement.results[" + std::to_string(i) + "].");
    check_result(problems, judgement.results[i]);
  }
  return problems.first();
}

std::optional<base::Error> first_problem(const base::Event& event) {
  Problems problems("event.");
  problems.text("cell", event.cell);
  problems.text("what", event.what);
  problems.text("detail", event.detail);
  problems.text("software_version", event.software_version);
  return problems.first();
}

std::optional<base::Error> first_problem(const base::Document& document) {
  Problems problems("document.");
  problems.text("name", document.name);
  problems.text("source", document.source);
  return problems.first();
}

}  // namespace

base::Outcome check(const base::Record& record) {
  auto problem = std::visit([](const auto& kind) { return first_problem(kind); }, record);
  if (problem) return *std::move(problem);
  return base::Done{};
}

}  // namespace crestgate::protocol
