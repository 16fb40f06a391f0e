// SPDX-License-Identifier: Apache-2.0
#pragma once
// What happens to a trace before the S-filter: spikes, gaps, another spacing. Whatever is changed is
// reported.

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/profile/resampling.h"
#include "analysis/profile/spike_search.h"
#include "base/result.h"

namespace crestgate::analysis {

// The bridge that is offered for looking at a stored trace offline: one lambda_s of 2.5 um. What a straight
// line across it leaves out is shorter than what the S-filter takes away; a longer gap may hide a crest.
constexpr double kOfflineBridgeUm = 2.5;

struct PreparationOptions {
  double bridge_um = 0.0;                             // longest gap that may be bridged; 0: none
  double most_bridged_percent = 1.0;                  // of all samples: beyond, the trace is a reconstruction
  std::optional<SpikeOptions> spikes = std::nullopt;  // absent: nothing counts as a spike
  std::optional<double> resampled_spacing_mm = std::nullopt;  // absent: the measured spacing
  friend bool operator==(const PreparationOptions&, const PreparationOptions&) = default;
};

// Places count in samples of the measured trace, from 0.
struct BridgedGap {
  std::size_t first_sample = 0;
  std::size_t sample_count = 0;
  std::size_t spike_samples = 0;  // of sample_count; the others were not measured
  friend bool operator==(const BridgedGap&, const BridgedGap&) = default;
};

struct FoundSpike {
  std::size_t first_sample = 0;
  std::size_t sample_count = 0;
  double height_um = 0.0;  // the largest deviation from the running median, positive away from the material
};

// The counts are whole; the lists hold the first places.
struct PreparationReport {
  static constexpr std::size_t kMostPlaces = 16;

  std::size_t missing_samples = 0;
  std::size_t spikes = 0;
  std::size_t spike_samples = 0;
  std::size_t bridges = 0;
  std::size_t bridged_samples = 0;
  double longest_bridge_um = 0.0;
  double bridged_percent = 0.0;  // of all samples
  std::array<BridgedGap, kMostPlaces> first_bridges{};
  std::array<FoundSpike, kMostPlaces> first_spikes{};
  double measured_spacing_mm = 0.0;
  double spacing_mm = 0.0;  // of the prepared trace

  [[nodiscard]] bool is_untouched() const { return bridges == 0 && spacing_mm == measured_spacing_mm; }
};

// Purpose   one sentence about what was changed, "" for an untouched trace: "bridged 2 gaps (5 samples,
//           the longest 1.5 um), took out 1 spike, resampled from 0.25 um to 0.5 um; first at sample 1200
//           (0.6 mm)".
std::string sentence_about(const PreparationReport& report);

struct PreparationWorkspace {
  std::vector<double> patched_um;
  SpikeWorkspace spikes;
};

// Purpose   a trace that is whole and equally spaced, or the reason why it is none.
// Method    1. spikes, when asked (SpikeSearch), become missing samples.
//           2. A gap is a run of missing samples, its length their number times the spacing. Inside of
//              the trace and at most bridge_um long it is bridged by the straight line between its
//              neighbours; anything else makes the trace invalid. Nothing is ever continued beyond an
//              end.
//           3. another spacing, when asked (Resampling).
// Source    ours; ISO 21920 does not know missing samples.
// Threads   run is const; concurrent runs need a workspace each.
class TracePreparation {
 public:
  // Errors    kInvalidConfig, kOutOfRange, kTooShort: options that are impossible or do not suit the
  //           trace.
  static base::Result<TracePreparation> prepare(const PreparationOptions& options, double spacing_mm,
                                                std::size_t sample_count);

  // Shape     measured_um: sample_count samples, NaN where missing or over range; prepared_um:
  //           output_count(), may be the same memory as measured_um when the spacing stays.
  // Errors    kNoData: a gap that may not be bridged, with its place, its length and the length allowed;
  //           or more bridges than most_bridged_percent. kNotFinite: an infinite height. prepared_um is
  //           unspecified then, the report has what was found up to there.
  // Memory    allocates nothing once the workspace has seen this shape, unless it refuses.
  base::Outcome run(std::span<const double> measured_um, PreparationWorkspace& workspace,
                    std::span<double> prepared_um, PreparationReport& report) const;

  [[nodiscard]] std::size_t output_count() const;
  [[nodiscard]] double output_spacing_mm() const;

 private:
  TracePreparation(const PreparationOptions& options, double spacing_mm, std::size_t sample_count)
      : options_(options), spacing_mm_(spacing_mm), sample_count_(sample_count) {}
  void take_out_spikes(PreparationWorkspace& workspace, PreparationReport& report) const;
  base::Outcome bridge(std::span<const double> measured_um, std::span<double> patched_um,
                       PreparationReport& report) const;
  [[nodiscard]] bool may_be_bridged(const BridgedGap& gap) const;
  [[nodiscard]] base::Error refusal_of(const BridgedGap& gap) const;
  [[nodiscard]] double length_um(std::size_t samples) const;

  PreparationOptions options_;
  double spacing_mm_;
  std::size_t sample_count_;
  std::optional<SpikeSearch> spike_search_;
  std::optional<Resampling> resampling_;
};

}  // namespace crestgate::analysis
