// SPDX-License-Identifier: Apache-2.0
#pragma once
// Samples that no surface gives: spikes of the signal.

#include <cstddef>
#include <span>
#include <vector>

#include "base/result.h"

namespace crestgate::analysis {

// The values are the suggested ones: see SpikeSearch for what they leave alone.
struct SpikeOptions {
  double window_um = 3.0;        // along the trace, half on each side of a sample
  double threshold = 8.0;        // of the robust scale
  double least_height_um = 0.3;  // smaller deviations may be grooves that the window is too wide to resolve
  friend bool operator==(const SpikeOptions&, const SpikeOptions&) = default;
};

constexpr std::size_t kFewestSpikeWindowSamples = 5;
constexpr std::size_t kMostSpikeWindowSamples = 1001;

// Scratch memory; grows at the first use with a shape, then stays.
struct SpikeWorkspace {
  std::vector<double> window;  // the heights around a sample, rising
  std::vector<double> deviation_um;
  std::vector<double> spread_um;
  std::vector<double> sorted;
};

// Purpose   which samples deviate so far from their neighbours that a stylus cannot have traced them.
// Method    Hampel identifier. Around sample i lie the samples i-h .. i+h that exist, h = floor(window /
//           2 / spacing); m is their median, s(i) = 1.4826 * median |z - m| over them, S the median of
//           all s(i). Sample i is a spike when |z(i) - m| > threshold * max(s(i), S) and >
//           least_height_um. What is wider than h samples moves the median along and is never a spike. On
//           a straight flank m is the sample itself; at a corner between two straight flanks the
//           deviation is 1.35 s, on top of a parabola 0.78 s, however steep: a resolved crest or groove
//           stays, also a sharp one. S keeps windows that happen to be calm from calling noise a spike.
// Why       the window is short: into a groove of width w a tip of radius r sinks w^2 / (8 r), and a
//           crest traced by it is as much wider. With 2 um that is 0.25 um in the 2 um between the
//           samples beside the widest spike, so what is higher than least_height_um and narrower is the
//           signal's and not the surface's.
// Source    F. R. Hampel, "The influence curve and its role in robust estimation", J. Am. Stat. Assoc. 69
//           (1974), 383-393, for the scale; the floor S and the least height are ours.
// Time      samples * window samples, at most kMostSpikeWindowSamples.
class SpikeSearch {
 public:
  // Errors    kInvalidConfig: an option that is no positive number. kOutOfRange: the window holds fewer
  //           than kFewestSpikeWindowSamples or more than kMostSpikeWindowSamples samples.
  static base::Result<SpikeSearch> prepare(const SpikeOptions& options, double spacing_mm);

  // Shape     heights_um: a trace, NaN where missing, otherwise finite. The span returned has one
  //           deviation per sample, heights - median for spikes and 0 for all others; it lives in the
  //           workspace.
  [[nodiscard]] std::span<const double> find(std::span<const double> heights_um,
                                             SpikeWorkspace& workspace) const;

  [[nodiscard]] std::size_t half_width() const { return half_width_; }

 private:
  SpikeSearch(const SpikeOptions& options, std::size_t half_width)
      : options_(options), half_width_(half_width) {}

  SpikeOptions options_;
  std::size_t half_width_;
};

}  // namespace crestgate::analysis
