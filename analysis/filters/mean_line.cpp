// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/mean_line.h"

#include <utility>
#include <variant>

#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/filters/robust_regression.h"
#include "analysis/filters/spline_filter.h"
#include "analysis/filters/two_step_filter.h"

namespace crestgate::analysis {
namespace {

struct Application {
  std::span<const double> heights;
  std::span<double> mean_line;
  FilterWorkspace& workspace;

  MeanLineReport operator()(const RobustRegression& filter) const {
    return filter.apply(heights, mean_line, workspace);
  }
  MeanLineReport operator()(const SplineFilter& filter) const {
    filter.apply(heights, mean_line);
    return {};
  }
  template <class Filter>
  MeanLineReport operator()(const Filter& filter) const {
    filter.apply(heights, mean_line, workspace);
    return {};
  }
};

}  // namespace

struct MeanLine::Chosen {
  std::variant<GaussianLowPass, RobustRegression, SplineFilter, TwoStepFilter> filter;
};

MeanLine::MeanLine(std::unique_ptr<const Chosen> chosen) : chosen_(std::move(chosen)) {}
MeanLine::~MeanLine() = default;
MeanLine::MeanLine(MeanLine&&) noexcept = default;
MeanLine& MeanLine::operator=(MeanLine&&) noexcept = default;

base::Result<MeanLine> MeanLine::prepare(const MeanLineOptions& options) {
  const auto chosen = [](auto filter) -> base::Result<MeanLine> {
    if (!filter) return filter.error();
    return MeanLine(std::unique_ptr<const Chosen>(new Chosen{.filter = std::move(*filter)}));
  };
  const LowPassOptions low_pass{.cutoff_mm = options.cutoff_mm,
                                .spacing_mm = options.spacing_mm,
                                .sample_count = options.sample_count,
                                .ends = options.ends};
  switch (options.kind) {
    case FilterKind::kGaussian:
      break;
    case FilterKind::kTwoStep:
      return chosen(TwoStepFilter::prepare(low_pass));
    case FilterKind::kSpline:
      return chosen(SplineFilter::prepare({.cutoff_mm = options.cutoff_mm,
                                           .spacing_mm = options.spacing_mm,
                                           .sample_count = options.sample_count}));
    case FilterKind::kRobustOrder0:
    case FilterKind::kRobustOrder2:
      return chosen(RobustRegression::prepare(
          {.regression = {.order = options.kind == FilterKind::kRobustOrder2 ? 2 : 0,
                          .cutoff_mm = options.cutoff_mm,
                          .spacing_mm = options.spacing_mm,
                          .sample_count = options.sample_count}}));
  }
  return chosen(GaussianLowPass::prepare(low_pass));
}

MeanLineReport MeanLine::apply(std::span<const double> heights, std::span<double> mean_line,
                               FilterWorkspace& workspace) const {
  return std::visit(Application{heights, mean_line, workspace}, chosen_->filter);
}

}  // namespace crestgate::analysis
