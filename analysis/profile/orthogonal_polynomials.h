// SPDX-License-Identifier: Apache-2.0
#pragma once
// Polynomials that are orthogonal on equally spaced samples, for least-squares lines and polynomials.

#include <array>
#include <cstddef>
#include <span>

namespace crestgate::analysis {

// Purpose   least-squares polynomial of degree 0 .. 10 through n equally spaced samples.
// Units     the abscissa is t = -1 at the first and +1 at the last of the n samples.
// Method    the monic discrete Legendre (Gram) polynomials by their three-term recurrence
//           p0 = 1, p1 = t, p(k+1) = t p(k) - beta(k) p(k-1), beta(k) = |p(k)|^2 / |p(k-1)|^2 (the grid is
//           symmetric, so there is no middle term). Orthogonality makes each coefficient one scalar product:
//           no normal matrix, no loss of digits up to degree 10.
// Source    W. Gautschi, "Orthogonal Polynomials: Computation and Approximation", Oxford 2004, 2.1 (Stieltjes
//           procedure) - from memory.
class OrthogonalPolynomials {
 public:
  static constexpr std::size_t kMaxTerms = 11;
  using Coefficients = std::array<double, kMaxTerms>;

  OrthogonalPolynomials() = default;  // no term at all: fits nothing, subtracts nothing

  // Pre       0 <= degree <= 10, sample_count > degree.
  OrthogonalPolynomials(std::size_t sample_count, int degree);

  // Shape     heights: the n samples.
  [[nodiscard]] Coefficients fit(std::span<const double> heights) const;

  // Purpose   residual = heights - polynomial, also beyond the fitted samples.
  // Shape     heights and residual of equal size, may be the same memory; heights[first] is the first of the
  //           n fitted samples.
  void subtract(const Coefficients& coefficients, std::size_t first, std::span<const double> heights,
                std::span<double> residual) const;

  // The values p0 .. p(terms-1) at sample `index` (may be negative or beyond the fitted ones).
  [[nodiscard]] Coefficients values_at(double index) const;

  [[nodiscard]] std::size_t terms() const { return terms_; }
  [[nodiscard]] double squared_norm(std::size_t term) const { return squared_norm_[term]; }

 private:
  std::size_t sample_count_ = 0;
  std::size_t terms_ = 0;
  std::array<double, kMaxTerms> beta_{};
  std::array<double, kMaxTerms> squared_norm_{};
};

}  // namespace crestgate::analysis
