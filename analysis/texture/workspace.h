// SPDX-License-Identifier: Apache-2.0
#pragma once
// Scratch memory of texture computations, and the profiles of the last one.

#include <span>
#include <vector>

#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/texture/material_ratio_curve.h"
#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {

// Purpose   memory that one computation after the other writes into. It grows at the first trace of a shape;
// after
//           that nothing is allocated.
// Lifetime  the spans are valid until the next run with this workspace.
// Threads   one workspace per thread.
class Workspace {
 public:
  // Profiles over the whole trace, micrometres; empty before the first successful run.
  [[nodiscard]] std::span<const double> primary_um() const { return primary_um_; }      // P
  [[nodiscard]] std::span<const double> roughness_um() const { return roughness_um_; }  // R
  [[nodiscard]] std::span<const double> waviness_um() const { return waviness_um_; }    // W, P = R + W
  // The heights of R over the evaluation length, falling.
  [[nodiscard]] std::span<const double> material_ratio_um() const { return falling_um_; }
  // The waves of the band over the whole trace; empty when the settings have no wave band.
  [[nodiscard]] std::span<const double> wave_um() const { return waves_.wave_um; }
  [[nodiscard]] const WaveFinding& waves() const { return finding_; }

 private:
  friend class TextureComputation;

  std::vector<double> smoothed_um_;
  std::vector<double> primary_um_;
  std::vector<double> roughness_um_;
  std::vector<double> waviness_um_;
  std::vector<double> falling_um_;
  FilterWorkspace filter_;
  SortWorkspace sort_;
  WaveWorkspace waves_;
  WaveFinding finding_;
};

}  // namespace crestgate::analysis
