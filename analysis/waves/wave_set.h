// SPDX-License-Identifier: Apache-2.0
#pragma once
// Sinusoids fitted together, and together with the form, to one profile by least squares.

#include <array>
#include <cstddef>
#include <span>
#include <vector>

namespace crestgate::analysis {

// Purpose   orthonormal columns of a form polynomial on m equally spaced points.
// Shape     degree + 1 columns of m values, one after the other. Pre m > degree, 0 <= degree <= 10.
std::vector<double> orthonormal_form_columns(std::size_t points, int degree);

// Takes everything that the form columns can express out of `values`.
void remove_form(std::span<const double> form_columns, std::span<double> values);

struct Sinusoid {
  double frequency = 0.0;  // periods per point
  double cosine = 0.0;     // a cos(2 pi f i) + b sin(2 pi f i) at point i
  double sine = 0.0;
  double explained = 0.0;  // sum of squares that it took from the residual when it was added
};

// Purpose   the waves taken so far, their common fit and what is left of the profile.
// Memory    the caller's: kMaxWaves pairs of columns and the residual.
// Method    orthogonal matching pursuit: each new pair of columns is made orthogonal (twice, against
//           rounding) to the form and to the earlier pairs, so the residual is that of one joint
//           least-squares fit; amplitudes follow from the triangular factor.
// Source    Y. C. Pati, R. Rezaiifar, P. S. Krishnaprasad, "Orthogonal matching pursuit", Asilomar 1993 -
//           from memory.
class WaveSet {
 public:
  static constexpr std::size_t kMaxWaves = 8;

  // Shape     residual: m values; columns: 2 * kMaxWaves * m values of scratch. restart comes first.
  WaveSet(std::span<const double> form_columns, std::span<double> residual, std::span<double> columns)
      : form_columns_(form_columns), residual_(residual), columns_(columns) {}

  // The sum of squares that a sinusoid of this frequency would take from the residual. Needs a free place.
  [[nodiscard]] double explained_at(double frequency) const;

  // Adds the sinusoid and takes it out of the residual. False: it is no different from what is there already.
  bool add(double frequency);

  // Forgets all waves and starts again from `clean`, the m values that the waves are to be taken out of.
  void restart(std::span<const double> clean);

  // Solves the common fit for the amplitudes.
  void solve();

  [[nodiscard]] std::size_t size() const { return count_; }
  [[nodiscard]] std::span<const Sinusoid> waves() const { return {waves_.data(), count_}; }
  [[nodiscard]] std::span<const double> residual() const { return residual_; }

 private:
  [[nodiscard]] std::span<double> column(std::size_t index) const {
    return columns_.subspan(index * residual_.size(), residual_.size());
  }

  std::span<const double> form_columns_;
  std::span<double> residual_;
  std::span<double> columns_;
  std::size_t count_ = 0;
  std::array<Sinusoid, kMaxWaves> waves_{};
  std::array<std::array<double, 2 * kMaxWaves>, 2 * kMaxWaves> factor_{};  // upper triangle
  std::array<double, 2 * kMaxWaves> projection_{};
};

}  // namespace crestgate::analysis
