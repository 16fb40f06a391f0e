// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/trace_preparation.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/text/number_text.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kUmPerMm = 1000.0;
constexpr double kRounding = 1e-9;
constexpr double kNaN = std::numeric_limits<double>::quiet_NaN();

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }
base::Error no_data(std::string detail) { return {base::ErrorCode::kNoData, std::move(detail)}; }

// To the nanometre, as short as possible: 1.2000000000000002 um helps nobody.
std::string rounded(double value) { return shortest(std::round(value * 1000.0) / 1000.0); }

std::string counted(std::size_t count, const std::string& what) {
  return std::to_string(count) + " " + what + (count == 1 ? "" : "s");
}

// A percentage of 0 forbids every bridge, so it is allowed as well.
base::Outcome check(const PreparationOptions& options, double spacing_mm) {
  if (!(spacing_mm > 0.0) || !std::isfinite(spacing_mm)) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "the sample spacing must be a positive number of mm, found " + shortest(spacing_mm)};
  }
  if (!(options.bridge_um >= 0.0) || !std::isfinite(options.bridge_um)) {
    return invalid("the longest bridge must be 0 (none) or a positive number of um, found " +
                   shortest(options.bridge_um));
  }
  if (!(options.most_bridged_percent >= 0.0 && options.most_bridged_percent <= 100.0)) {
    return invalid("the share that may be bridged must be 0 to 100 %, found " +
                   shortest(options.most_bridged_percent) + " %");
  }
  return base::Done{};
}

// The next run of missing samples at or after `from`; empty at the end of the trace.
BridgedGap next_gap(std::span<const double> patched_um, std::span<const double> measured_um,
                    std::size_t from) {
  BridgedGap gap;
  while (from < patched_um.size() && !std::isnan(patched_um[from])) ++from;
  gap.first_sample = from;
  for (; from < patched_um.size() && std::isnan(patched_um[from]); ++from) {
    ++gap.sample_count;
    if (!std::isnan(measured_um[from])) ++gap.spike_samples;
  }
  return gap;
}

void draw_line(std::span<double> heights_um, const BridgedGap& gap) {
  const double before_um = heights_um[gap.first_sample - 1];
  const double after_um = heights_um[gap.first_sample + gap.sample_count];
  for (std::size_t k = 0; k < gap.sample_count; ++k) {
    const double share = static_cast<double>(k + 1) / static_cast<double>(gap.sample_count + 1);
    heights_um[gap.first_sample + k] = before_um + share * (after_um - before_um);
  }
}

std::string spike_remark(const BridgedGap& gap) {
  if (gap.spike_samples == 0) return "";
  if (gap.spike_samples == gap.sample_count) return " (taken out as a spike)";
  return " (" + std::to_string(gap.spike_samples) + " of them taken out as a spike)";
}

}  // namespace

base::Result<TracePreparation> TracePreparation::prepare(const PreparationOptions& options, double spacing_mm,
                                                         std::size_t sample_count) {
  if (const auto checked = check(options, spacing_mm); !checked) return checked.error();
  TracePreparation preparation(options, spacing_mm, sample_count);
  if (options.spikes) {
    auto search = SpikeSearch::prepare(*options.spikes, spacing_mm);
    if (!search) return search.error();
    preparation.spike_search_ = *search;
  }
  if (options.resampled_spacing_mm) {
    const double ratio = *options.resampled_spacing_mm / spacing_mm;
    if (std::abs(ratio - 1.0) > kRounding) {
      auto resampling = Resampling::prepare({.measured_spacing_mm = spacing_mm,
                                             .spacing_mm = *options.resampled_spacing_mm,
                                             .sample_count = sample_count});
      if (!resampling) return resampling.error();
      preparation.resampling_ = std::move(*resampling);
    }
  }
  return preparation;
}

std::size_t TracePreparation::output_count() const {
  return resampling_ ? resampling_->output_count() : sample_count_;
}

double TracePreparation::output_spacing_mm() const {
  return resampling_ ? *options_.resampled_spacing_mm : spacing_mm_;
}

double TracePreparation::length_um(std::size_t samples) const {
  return static_cast<double>(samples) * spacing_mm_ * kUmPerMm;
}

base::Outcome TracePreparation::run(std::span<const double> measured_um, PreparationWorkspace& workspace,
                                    std::span<double> prepared_um, PreparationReport& report) const {
  CRESTGATE_EXPECTS(measured_um.size() == sample_count_ && prepared_um.size() == output_count());
  report = PreparationReport{};
  report.measured_spacing_mm = spacing_mm_;
  report.spacing_mm = output_spacing_mm();
  if (measured_um.empty()) return no_data("the trace holds no sample");
  for (std::size_t i = 0; i < measured_um.size(); ++i) {
    if (std::isinf(measured_um[i])) {
      return base::Error{
          base::ErrorCode::kNotFinite,
          "sample " + std::to_string(i) + " of " + std::to_string(sample_count_) + " is not a finite height"};
    }
    if (std::isnan(measured_um[i])) ++report.missing_samples;
  }
  workspace.patched_um.assign(measured_um.begin(), measured_um.end());
  if (spike_search_) take_out_spikes(workspace, report);
  if (report.missing_samples + report.spike_samples > 0) {
    if (auto bridged = bridge(measured_um, workspace.patched_um, report); !bridged) return bridged;
  }
  if (resampling_) {
    resampling_->apply(workspace.patched_um, prepared_um);
  } else {
    std::ranges::copy(workspace.patched_um, prepared_um.begin());
  }
  return base::Done{};
}

void TracePreparation::take_out_spikes(PreparationWorkspace& workspace, PreparationReport& report) const {
  const std::span<const double> deviation_um = spike_search_->find(workspace.patched_um, workspace.spikes);
  for (std::size_t i = 0; i < deviation_um.size(); ++i) {
    if (deviation_um[i] == 0.0) continue;
    FoundSpike spike{.first_sample = i};
    for (; i < deviation_um.size() && deviation_um[i] != 0.0; ++i) {
      ++spike.sample_count;
      if (std::abs(deviation_um[i]) > std::abs(spike.height_um)) spike.height_um = deviation_um[i];
      workspace.patched_um[i] = kNaN;
    }
    if (report.spikes < PreparationReport::kMostPlaces) report.first_spikes[report.spikes] = spike;
    ++report.spikes;
    report.spike_samples += spike.sample_count;
  }
}

bool TracePreparation::may_be_bridged(const BridgedGap& gap) const {
  const bool inside = gap.first_sample > 0 && gap.first_sample + gap.sample_count < sample_count_;
  return inside && length_um(gap.sample_count) <= options_.bridge_um * (1.0 + kRounding);
}

base::Error TracePreparation::refusal_of(const BridgedGap& gap) const {
  if (gap.sample_count == sample_count_) {
    return no_data("all " + std::to_string(sample_count_) + " samples of the trace are missing");
  }
  std::string text = counted(gap.sample_count, "sample") + " from sample " +
                     std::to_string(gap.first_sample) + " on (" +
                     rounded(static_cast<double>(gap.first_sample) * spacing_mm_) + " mm) " +
                     (gap.sample_count == 1 ? "is" : "are") + " missing" + spike_remark(gap) + ": a gap of " +
                     rounded(length_um(gap.sample_count)) + " um";
  const bool at_start = gap.first_sample == 0;
  if (at_start || gap.first_sample + gap.sample_count == sample_count_) {
    text += std::string(" at the ") + (at_start ? "start" : "end") +
            " of the trace, only gaps inside of it may be bridged";
  } else if (options_.bridge_um > 0.0) {
    text += ", at most " + rounded(options_.bridge_um) + " um may be bridged";
  } else {
    text += ", none may be bridged";
  }
  return no_data(std::move(text));
}

base::Outcome TracePreparation::bridge(std::span<const double> measured_um, std::span<double> patched_um,
                                       PreparationReport& report) const {
  for (std::size_t from = 0;;) {
    const BridgedGap gap = next_gap(patched_um, measured_um, from);
    if (gap.sample_count == 0) break;
    from = gap.first_sample + gap.sample_count;
    if (!may_be_bridged(gap)) return refusal_of(gap);
    draw_line(patched_um, gap);
    if (report.bridges < PreparationReport::kMostPlaces) report.first_bridges[report.bridges] = gap;
    ++report.bridges;
    report.bridged_samples += gap.sample_count;
    report.longest_bridge_um = std::max(report.longest_bridge_um, length_um(gap.sample_count));
  }
  report.bridged_percent =
      100.0 * static_cast<double>(report.bridged_samples) / static_cast<double>(sample_count_);
  if (report.bridged_percent > options_.most_bridged_percent * (1.0 + kRounding)) {
    return no_data(counted(report.bridges, "bridge") + " would replace " +
                   std::to_string(report.bridged_samples) + " of " + std::to_string(sample_count_) +
                   " samples (" + fixed(report.bridged_percent, 2) + " %), at most " +
                   shortest(options_.most_bridged_percent) + " % may be replaced");
  }
  return base::Done{};
}

std::string sentence_about(const PreparationReport& report) {
  std::string text;
  const auto add = [&text](const std::string& part) { text += (text.empty() ? "" : ", ") + part; };
  if (report.bridges > 0) {
    add("bridged " + counted(report.bridges, "gap") + " (" + counted(report.bridged_samples, "sample") +
        ", the longest " + rounded(report.longest_bridge_um) + " um)");
  }
  if (report.spikes > 0) add("took out " + counted(report.spikes, "spike"));
  if (report.spacing_mm != report.measured_spacing_mm) {
    add("resampled from " + rounded(report.measured_spacing_mm * kUmPerMm) + " um to " +
        rounded(report.spacing_mm * kUmPerMm) + " um");
  }
  if (report.bridges > 0) {
    const std::size_t first = report.first_bridges[0].first_sample;
    text += "; first at sample " + std::to_string(first) + " (" +
            rounded(static_cast<double>(first) * report.measured_spacing_mm) + " mm)";
  }
  return text;
}

}  // namespace crestgate::analysis
