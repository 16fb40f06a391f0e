// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/profile_elements.h"

#include <algorithm>
#include <cmath>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

using Run = ElementWorkspace::Run;

constexpr std::size_t kFewestBoundaries = 3;
constexpr double kMmPerCm = 10.0;

void cut_into_runs(std::span<const double> z, std::vector<Run>& runs) {
  runs.clear();
  runs.reserve(z.size());
  Run run{.start = 0.0, .extreme_um = std::abs(z[0]), .is_hill = z[0] >= 0.0};
  for (std::size_t i = 1; i < z.size(); ++i) {
    if ((z[i] >= 0.0) != run.is_hill) {
      runs.push_back(run);
      // Between neighbours of opposite sign: the divisor is their distance.
      run = {.start = static_cast<double>(i - 1) + z[i - 1] / (z[i - 1] - z[i]),
             .extreme_um = 0.0,
             .is_hill = !run.is_hill};
    }
    run.extreme_um = std::max(run.extreme_um, std::abs(z[i]));
  }
  runs.push_back(run);
}

// A walk from the first run to the last: boundaries, and the extreme of the feature that each one begins. The
// first of both is still there.
class Walk {
 public:
  Walk(const ElementOptions& options, ElementWorkspace& workspace)
      : options_(options), boundaries_(workspace.boundaries), extremes_um_(workspace.extremes_um) {
    boundaries_.clear();
    extremes_um_.clear();
    boundaries_.reserve(workspace.runs.capacity());
    extremes_um_.reserve(workspace.runs.capacity());
  }

  void meet(const Run& run, double position) {
    if (run.extreme_um < (run.is_hill ? options_.hill_um : options_.dale_um)) return;
    if (boundaries_.empty() || run.is_hill != in_hill_) {
      boundaries_.push_back(position);
      extremes_um_.push_back(0.0);
      in_hill_ = run.is_hill;
    }
    extremes_um_.back() = std::max(extremes_um_.back(), run.extreme_um);
  }

 private:
  const ElementOptions& options_;
  std::vector<double>& boundaries_;
  std::vector<double>& extremes_um_;
  bool in_hill_ = false;
};

struct Moments {
  double mean = 0.0;
  double largest = 0.0;
  double deviation = 0.0;
};

template <class Value>
Moments moments_of(std::size_t count, const Value& value) {
  Moments found;
  for (std::size_t i = 0; i < count; ++i) {
    found.mean += value(i);
    found.largest = std::max(found.largest, value(i));
  }
  const double n = static_cast<double>(count);
  found.mean /= n;
  double squares = 0.0;
  for (std::size_t i = 0; i < count; ++i) {
    const double difference = value(i) - found.mean;
    squares += difference * difference;
  }
  found.deviation = std::sqrt(squares / n);
  return found;
}

// Half of each number, so that two walks add up to their mean.
void add_half(const ElementWorkspace& walked, double spacing_mm, ElementParameters& found) {
  const std::size_t elements = found.boundary_count - 2;
  // Index 0 is the boundary that is dropped.
  const Moments spacings = moments_of(elements, [&walked, spacing_mm](std::size_t i) {
    return std::abs(walked.boundaries[i + 3] - walked.boundaries[i + 1]) * spacing_mm;
  });
  const Moments heights = moments_of(
      elements, [&walked](std::size_t i) { return walked.extremes_um[i + 1] + walked.extremes_um[i + 2]; });
  found.mean_spacing_mm += 0.5 * spacings.mean;
  found.largest_spacing_mm += 0.5 * spacings.largest;
  found.spacing_deviation_mm += 0.5 * spacings.deviation;
  found.mean_height_um += 0.5 * heights.mean;
  found.largest_height_um += 0.5 * heights.largest;
  found.height_deviation_um += 0.5 * heights.deviation;
}

}  // namespace

ElementParameters profile_elements(std::span<const double> heights_um, const ElementOptions& options,
                                   ElementWorkspace& workspace) {
  CRESTGATE_EXPECTS(!heights_um.empty() && options.spacing_mm > 0.0);
  cut_into_runs(heights_um, workspace.runs);
  const std::vector<Run>& runs = workspace.runs;
  const double last = static_cast<double>(heights_um.size() - 1);

  ElementParameters found;
  Walk forwards(options, workspace);
  for (const Run& run : runs) forwards.meet(run, run.start);
  // Groups of runs of one kind that count are the same in both directions, and so is their number.
  found.boundary_count = workspace.boundaries.empty() ? 0 : workspace.boundaries.size() - 1;
  found.has_elements = found.boundary_count >= kFewestBoundaries;
  if (!found.has_elements) return found;
  add_half(workspace, options.spacing_mm, found);

  Walk backwards(options, workspace);
  for (std::size_t k = runs.size(); k-- > 0;) {
    backwards.meet(runs[k], k + 1 < runs.size() ? runs[k + 1].start : last);
  }
  CRESTGATE_EXPECTS(workspace.boundaries.size() == found.boundary_count + 1);
  add_half(workspace, options.spacing_mm, found);
  found.peaks_per_cm = kMmPerCm / found.mean_spacing_mm;
  return found;
}

}  // namespace crestgate::analysis
