// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/spline_filter.h"

#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "analysis/filters/straight_line.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// Entries of one row for three neighbouring unknowns.
using Entries = std::array<double, 3>;

// Turns two rows so that the second has 0 at `column`.
void rotate(Entries& kept, Entries& cleared, std::size_t column) {
  const double length = std::hypot(kept[column], cleared[column]);
  if (length == 0.0) return;
  const double cosine = kept[column] / length;
  const double sine = cleared[column] / length;
  for (std::size_t i = 0; i < kept.size(); ++i) {
    const double first = kept[i];
    const double second = cleared[i];
    kept[i] = cosine * first + sine * second;
    cleared[i] = cosine * second - sine * first;
  }
  cleared[column] = 0.0;
}

Entries shifted(const Entries& row) { return {row[1], row[2], 0.0}; }

}  // namespace

base::Result<SplineFilter> SplineFilter::prepare(const SplineOptions& options) {
  CRESTGATE_EXPECTS(options.cutoff_mm > 0.0 && options.spacing_mm > 0.0 && options.sample_count > 0);
  if (!(options.beta >= 0.0 && options.beta <= 1.0)) {
    return base::Error{base::ErrorCode::kOutOfRange, "the tension of a spline filter must be 0 to 1, found " +
                                                         std::to_string(options.beta)};
  }
  if (options.cutoff_mm <= 2.0 * options.spacing_mm) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "the cut-off of a spline filter must be above 2 spacings, found " +
                           std::to_string(options.cutoff_mm / options.spacing_mm)};
  }
  const double a = 0.5 / std::sin(std::numbers::pi * options.spacing_mm / options.cutoff_mm);
  const double bend = a * a * std::sqrt(1.0 - options.beta);
  const double stretch = a * std::sqrt(options.beta);

  SplineFilter filter;
  filter.keeps_lines_ = options.beta == 0.0;
  filter.rows_.resize(options.sample_count);
  const std::size_t n = options.sample_count;
  // The rows that are not finished, for the unknowns i, i+1, i+2. All rows with a place for unknown i have
  // come in when unknown i is finished.
  Entries first{1.0, 0.0, 0.0};
  Entries second{0.0, n > 1 ? 1.0 : 0.0, 0.0};
  if (n > 1) {
    Entries step{stretch, -stretch, 0.0};
    rotate(first, step, 0);
    rotate(second, step, 1);
  }
  for (std::size_t i = 0; i < n; ++i) {
    Entries third{};
    if (i + 2 < n) {
      third[2] = 1.0;
      Entries turn{bend, -2.0 * bend, bend};
      rotate(first, turn, 0);
      rotate(second, turn, 1);
      rotate(third, turn, 2);
      Entries step{0.0, stretch, -stretch};
      rotate(second, step, 1);
      rotate(third, step, 2);
    }
    filter.rows_[i] = {.inverse_square = 1.0 / (first[0] * first[0]),
                       .next = first[1] / first[0],
                       .after = first[2] / first[0]};
    first = shifted(second);
    second = shifted(third);
  }
  return filter;
}

void SplineFilter::apply(std::span<const double> heights, std::span<double> mean_line) const {
  const std::size_t n = rows_.size();
  CRESTGATE_EXPECTS(heights.size() == n && mean_line.size() == n);
  StraightLine line = line_through(heights);
  if (!keeps_lines_) line.slope = 0.0;
  double last = 0.0;
  double last_but_one = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    double value = heights[i] - line.at(static_cast<double>(i));
    if (i > 0) value -= rows_[i - 1].next * last;
    if (i > 1) value -= rows_[i - 2].after * last_but_one;
    mean_line[i] = value;
    last_but_one = last;
    last = value;
  }
  last = 0.0;
  last_but_one = 0.0;
  for (std::size_t i = n; i-- > 0;) {
    const Row& row = rows_[i];
    const double value = mean_line[i] * row.inverse_square - row.next * last - row.after * last_but_one;
    mean_line[i] = value + line.at(static_cast<double>(i));
    last_but_one = last;
    last = value;
  }
}

}  // namespace crestgate::analysis
