// SPDX-License-Identifier: Apache-2.0
#pragma once
// Traces of all parts of a scenario, without a gauge and without waiting.

#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "base/result.h"
#include "simulator/scenario/scenario.h"

namespace crestgate::simulator {

struct TraceSettings {
  TraverseOrder order{.length_um = 5600, .spacing_nm = 500, .speed_um_per_s = 500};
  std::uint32_t traverses = 1;  // of each zone
};

struct NamedTrace {
  PartAtStage part;
  std::uint32_t zone = 0;
  std::uint32_t traverse = 0;  // from 1
  std::vector<std::int32_t> counts;
};

// Purpose  every part at every stage, every zone, every traverse: the heights that a gauge would send when
//          each part were placed once. Faults have no part in it.
// Errors   kOutOfRange: length or spacing are beyond the scenario's gauge. The first error of `take` ends it.
base::Outcome for_each_trace(const Scenario& scenario, const TraceSettings& settings,
                             const std::function<base::Outcome(const NamedTrace&)>& take);

struct CsvScale {
  std::uint32_t spacing_nm = 0;
  std::uint32_t step_pm = 0;
};

// Header "x_mm,z_um", a row a sample. Heights have as many digits as the step needs, so that they are exact;
// where the pickup stood at its end stop there is no height and the column holds "nan".
std::string csv_of(const std::vector<std::int32_t>& counts, const CsvScale& scale);

// Writes PART_stageS_zoneK_traverseN.csv for each trace into `folder` (made when missing). A file appears
// whole or not at all. Returns how many. Errors   kIo, kNoSpace and those of for_each_trace.
base::Result<std::size_t> write_traces(const Scenario& scenario, const TraceSettings& settings,
                                       const std::string& folder);

}  // namespace crestgate::simulator
