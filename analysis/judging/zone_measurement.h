// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the traces of a zone to the values that limits are held against.

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/judging/part_plan.h"
#include "analysis/judging/trace_check.h"
#include "analysis/judging/trace_input.h"
#include "analysis/texture/parameter_names.h"
#include "analysis/texture/parameter_value.h"

namespace crestgate::analysis {

// What one usable traverse says about one parameter.
struct Finding {
  ParameterValue value;
  std::vector<double> sections;  // its section values; empty: the parameter has none, or does not exist
};

struct ZoneOutcome {
  std::vector<ParameterName> names;
  std::vector<std::vector<Finding>> traces;  // of the usable traverses, one finding per name
  std::optional<Doubt> doubt;                // the first one
  std::optional<Doubt> stranger;             // the first traverse that is not of the plan's part
};

// Purpose   prepares the computation of each shape of trace once and keeps it, with the memory it works in.
// Threads   one per thread.
class ZoneMeasurement {
 public:
  ZoneMeasurement();
  ~ZoneMeasurement();
  ZoneMeasurement(ZoneMeasurement&&) noexcept;
  ZoneMeasurement& operator=(ZoneMeasurement&&) noexcept;
  ZoneMeasurement(const ZoneMeasurement&) = delete;
  ZoneMeasurement& operator=(const ZoneMeasurement&) = delete;

  // Pre       `plan` is the same at every call and passed check_plan.
  // Shape     traces: of the whole part; those of other zones are passed over.
  ZoneOutcome measure(const PartPlan& plan, std::uint32_t zone_index, std::span<const TraceInput> traces);

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace crestgate::analysis
