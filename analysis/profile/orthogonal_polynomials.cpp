// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/orthogonal_polynomials.h"

#include "base/expects.h"

namespace crestgate::analysis {

OrthogonalPolynomials::OrthogonalPolynomials(std::size_t sample_count, int degree)
    : sample_count_(sample_count), terms_(static_cast<std::size_t>(degree) + 1) {
  CRESTGATE_EXPECTS(degree >= 0 && terms_ <= kMaxTerms && sample_count >= terms_);
  for (std::size_t term = 0; term < terms_; ++term) {
    double sum = 0.0;
    for (std::size_t i = 0; i < sample_count; ++i) {
      const double value = values_at(static_cast<double>(i))[term];
      sum += value * value;
    }
    squared_norm_[term] = sum;
    if (term > 0) beta_[term] = sum / squared_norm_[term - 1];  // used by the values of term + 1 and higher
  }
}

OrthogonalPolynomials::Coefficients OrthogonalPolynomials::values_at(double index) const {
  Coefficients values{};
  const double last = static_cast<double>(sample_count_) - 1.0;
  const double t = last > 0.0 ? (2.0 * index - last) / last : 0.0;
  values[0] = 1.0;
  if (terms_ > 1) values[1] = t;
  for (std::size_t term = 2; term < terms_; ++term) {
    values[term] = t * values[term - 1] - beta_[term - 1] * values[term - 2];
  }
  return values;
}

OrthogonalPolynomials::Coefficients OrthogonalPolynomials::fit(std::span<const double> heights) const {
  CRESTGATE_EXPECTS(heights.size() == sample_count_);
  Coefficients sums{};
  for (std::size_t i = 0; i < heights.size(); ++i) {
    const Coefficients values = values_at(static_cast<double>(i));
    for (std::size_t term = 0; term < terms_; ++term) sums[term] += heights[i] * values[term];
  }
  for (std::size_t term = 0; term < terms_; ++term) sums[term] /= squared_norm_[term];
  return sums;
}

void OrthogonalPolynomials::subtract(const Coefficients& coefficients, std::size_t first,
                                     std::span<const double> heights, std::span<double> residual) const {
  CRESTGATE_EXPECTS(heights.size() == residual.size());
  for (std::size_t i = 0; i < heights.size(); ++i) {
    const Coefficients values = values_at(static_cast<double>(i) - static_cast<double>(first));
    double form = 0.0;
    for (std::size_t term = 0; term < terms_; ++term) form += coefficients[term] * values[term];
    residual[i] = heights[i] - form;
  }
}

}  // namespace crestgate::analysis
