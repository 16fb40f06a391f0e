// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/traces.h"

#include <filesystem>
#include <fstream>

#include "base/traverse.h"
#include "simulator/scenario/bench.h"

namespace crestgate::simulator {

namespace {

namespace fs = std::filesystem;

// value / 10^decimals, in full, without trailing zeros beyond `digits`.
std::string decimal(std::int64_t value, int decimals, int digits) {
  std::string text = std::to_string(value < 0 ? -value : value);
  const auto places = static_cast<std::size_t>(decimals);
  if (text.size() <= places) text.insert(0, places + 1 - text.size(), '0');
  text.insert(text.size() - places, ".");
  text.resize(text.size() - static_cast<std::size_t>(decimals - digits));
  return (value < 0 ? "-" : "") + text;
}

// How many of `decimals` places a multiple of `unit` needs.
int digits_needed(std::uint32_t unit, int decimals) {
  while (decimals > 1 && unit % 10 == 0) {
    unit /= 10;
    --decimals;
  }
  return decimals;
}

base::Outcome check_order(const Scenario& scenario, const TraverseOrder& order) {
  const auto refuse = [&scenario](const std::string& what) {
    return base::Error{base::ErrorCode::kOutOfRange, scenario.source + ": " + what};
  };
  if (order.spacing_nm < scenario.gauge.smallest_spacing_nm) {
    return refuse("spacing " + std::to_string(order.spacing_nm) + " nm is below the gauge's " +
                  std::to_string(scenario.gauge.smallest_spacing_nm) + " nm");
  }
  if (order.length_um == 0 || order.length_um > scenario.gauge.longest_traverse_um) {
    return refuse("length " + std::to_string(order.length_um) + " um is not within the gauge's " +
                  std::to_string(scenario.gauge.longest_traverse_um) + " um");
  }
  return base::Done{};
}

base::Outcome write_whole(const fs::path& path, const std::string& text) {
  const fs::path partial = path.string() + ".partial";
  std::ofstream file(partial, std::ios::binary | std::ios::trunc);
  file << text;
  file.close();
  std::error_code problem;
  if (file) {
    fs::rename(partial, path, problem);
    if (!problem) return base::Done{};
  }
  fs::remove(partial, problem);  // best effort: the error below is the one that counts
  return base::Error{base::ErrorCode::kIo, path.string() + ": cannot be written"};
}

}  // namespace

base::Outcome for_each_trace(const Scenario& scenario, const TraceSettings& settings,
                             const std::function<base::Outcome(const NamedTrace&)>& take) {
  if (auto fits = check_order(scenario, settings.order); !fits) return fits;
  Bench bench(scenario);
  bench.clear_faults();
  for (const auto& [part, zones] : scenario.parts) {
    if (auto placed = bench.place(part.part, part.stage); !placed) return placed;
    for (const auto& [zone, surface] : zones) {
      if (auto chosen = bench.choose_zone(zone); !chosen) return chosen;
      for (std::uint32_t n = 1; n <= settings.traverses; ++n) {
        NamedTrace trace{
            .part = part, .zone = zone, .traverse = n, .counts = bench.traverse(settings.order).counts};
        if (auto taken = take(trace); !taken) return taken;
      }
    }
    if (auto removed = bench.remove(); !removed) return removed;
  }
  return base::Done{};
}

std::string csv_of(const std::vector<std::int32_t>& counts, const CsvScale& scale) {
  constexpr int kPlaces = 6;  // nm in mm, pm in um
  const int x_digits = digits_needed(scale.spacing_nm, kPlaces);
  const int z_digits = digits_needed(scale.step_pm, kPlaces);
  std::string text = "x_mm,z_um\n";
  for (std::size_t i = 0; i < counts.size(); ++i) {
    text += decimal(static_cast<std::int64_t>(i) * scale.spacing_nm, kPlaces, x_digits) + ",";
    const bool height = counts[i] != base::kOverRangeCount && counts[i] != base::kMissingCount;
    text += height ? decimal(std::int64_t{counts[i]} * scale.step_pm, kPlaces, z_digits) : "nan";
    text += '\n';
  }
  return text;
}

base::Result<std::size_t> write_traces(const Scenario& scenario, const TraceSettings& settings,
                                       const std::string& folder) {
  std::error_code problem;
  fs::create_directories(folder, problem);
  if (!fs::is_directory(folder, problem)) {
    return base::Error{base::ErrorCode::kIo, folder + ": the folder cannot be made"};
  }
  std::size_t written = 0;
  const auto write = [&](const NamedTrace& trace) -> base::Outcome {
    std::string name = trace.part.part + "_stage" + std::to_string(trace.part.stage) + "_zone" +
                       std::to_string(trace.zone) + "_traverse" + std::to_string(trace.traverse) + ".csv";
    for (char& c : name)
      c = c == '/' ? '_' : c;  // the one character of a part's name that a file's cannot hold
    ++written;
    return write_whole(fs::path(folder) / name, csv_of(trace.counts, {.spacing_nm = settings.order.spacing_nm,
                                                                      .step_pm = scenario.stylus.step_pm}));
  };
  if (auto done = for_each_trace(scenario, settings, write); !done) return done.error();
  return written;
}

}  // namespace crestgate::simulator
