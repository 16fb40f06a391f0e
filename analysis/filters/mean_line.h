// SPDX-License-Identifier: Apache-2.0
#pragma once
// One door to all profile filters.

#include <cstddef>
#include <memory>
#include <span>

#include "analysis/filters/filter_kind.h"
#include "analysis/filters/filter_workspace.h"
#include "analysis/filters/mean_line_report.h"
#include "base/result.h"

namespace crestgate::analysis {

struct MeanLineOptions {
  FilterKind kind = FilterKind::kGaussian;
  double cutoff_mm = 0.8;
  double spacing_mm = 0.0005;
  std::size_t sample_count = 0;
  EndRule ends = EndRule::kRenormalised;  // of kGaussian and kTwoStep; the others have their own way
};

// Purpose   the mean line by a filter chosen at run time; the roughness is the profile minus it.
// Method    kGaussian: GaussianLowPass; kRobustOrder0, kRobustOrder2: RobustRegression with its own
//           tolerance; kSpline: SplineFilter with beta 0; kTwoStep: TwoStepFilter. See their headers.
class MeanLine {
 public:
  // Errors    those of the filter chosen: kTooShort, kOutOfRange.
  // Pre       lengths positive, at least one sample.
  static base::Result<MeanLine> prepare(const MeanLineOptions& options);
  ~MeanLine();
  MeanLine(MeanLine&&) noexcept;
  MeanLine& operator=(MeanLine&&) noexcept;
  MeanLine(const MeanLine&) = delete;
  MeanLine& operator=(const MeanLine&) = delete;

  // Shape     heights and mean_line: sample_count samples; must not overlap.
  // Pre       all heights finite.
  // Threads   const use from several threads is safe, each with its own workspace.
  MeanLineReport apply(std::span<const double> heights, std::span<double> mean_line,
                       FilterWorkspace& workspace) const;

 private:
  struct Chosen;
  explicit MeanLine(std::unique_ptr<const Chosen> chosen);

  std::unique_ptr<const Chosen> chosen_;
};

}  // namespace crestgate::analysis
