// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/wave_set.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/profile/orthogonal_polynomials.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// A column that keeps less than this share of its length says nothing that the others do not say.
constexpr double kLeastNewShare = 1e-3;

double dot(std::span<const double> a, std::span<const double> b) {
  double sum = 0.0;
  for (std::size_t i = 0; i < a.size(); ++i) sum += a[i] * b[i];
  return sum;
}

void subtract(double factor, std::span<const double> from, std::span<double> values) {
  for (std::size_t i = 0; i < values.size(); ++i) values[i] -= factor * from[i];
}

void fill_sinusoid(double frequency, std::span<double> cosine, std::span<double> sine) {
  const double step = 2.0 * std::numbers::pi * frequency;
  const double turn_cosine = std::cos(step);
  const double turn_sine = std::sin(step);
  double c = 1.0;
  double s = 0.0;
  for (std::size_t i = 0; i < cosine.size(); ++i) {
    cosine[i] = c;
    sine[i] = s;
    const double next = c * turn_cosine - s * turn_sine;
    s = s * turn_cosine + c * turn_sine;
    c = next;
  }
}

}  // namespace

std::vector<double> orthonormal_form_columns(std::size_t points, int degree) {
  const OrthogonalPolynomials polynomials(points, degree);
  std::vector<double> columns(polynomials.terms() * points);
  for (std::size_t i = 0; i < points; ++i) {
    const auto values = polynomials.values_at(static_cast<double>(i));
    for (std::size_t term = 0; term < polynomials.terms(); ++term) {
      columns[term * points + i] = values[term] / std::sqrt(polynomials.squared_norm(term));
    }
  }
  return columns;
}

void remove_form(std::span<const double> form_columns, std::span<double> values) {
  const std::size_t points = values.size();
  for (std::size_t start = 0; start + points <= form_columns.size(); start += points) {
    const auto column = form_columns.subspan(start, points);
    subtract(dot(column, values), column, values);
  }
}

double WaveSet::explained_at(double frequency) const {
  CRESTGATE_EXPECTS(count_ < kMaxWaves);
  const auto cosine = column(2 * count_);
  const auto sine = column(2 * count_ + 1);
  fill_sinusoid(frequency, cosine, sine);
  remove_form(form_columns_, cosine);
  remove_form(form_columns_, sine);
  const double cc = dot(cosine, cosine);
  const double cs = dot(cosine, sine);
  const double ss = dot(sine, sine);
  const double cy = dot(cosine, residual_);
  const double sy = dot(sine, residual_);
  const double determinant = cc * ss - cs * cs;
  return determinant > 0.0 ? (ss * cy * cy - 2.0 * cs * cy * sy + cc * sy * sy) / determinant : 0.0;
}

bool WaveSet::add(double frequency) {
  CRESTGATE_EXPECTS(count_ < kMaxWaves);
  const std::size_t first = 2 * count_;
  fill_sinusoid(frequency, column(first), column(first + 1));
  for (std::size_t index = first; index < first + 2; ++index) {
    const auto fresh = column(index);
    const double length = std::sqrt(dot(fresh, fresh));
    for (std::size_t earlier = 0; earlier < index; ++earlier) factor_[earlier][index] = 0.0;
    for (int pass = 0; pass < 2; ++pass) {
      remove_form(form_columns_, fresh);
      for (std::size_t earlier = 0; earlier < index; ++earlier) {
        const double share = dot(column(earlier), fresh);
        factor_[earlier][index] += share;
        subtract(share, column(earlier), fresh);
      }
    }
    const double left = std::sqrt(dot(fresh, fresh));
    if (!(left > kLeastNewShare * length)) return false;
    factor_[index][index] = left;
    for (double& value : fresh) value /= left;
  }
  Sinusoid& wave = waves_[count_];
  wave = {.frequency = frequency};
  for (std::size_t index = first; index < first + 2; ++index) {
    projection_[index] = dot(column(index), residual_);
    wave.explained += projection_[index] * projection_[index];
    subtract(projection_[index], column(index), residual_);
  }
  ++count_;
  return true;
}

void WaveSet::restart(std::span<const double> clean) {
  CRESTGATE_EXPECTS(clean.size() == residual_.size());
  std::ranges::copy(clean, residual_.begin());
  count_ = 0;
}

void WaveSet::solve() {
  std::array<double, 2 * kMaxWaves> amplitude = projection_;
  for (std::size_t row = 2 * count_; row-- > 0;) {
    for (std::size_t k = row + 1; k < 2 * count_; ++k) amplitude[row] -= factor_[row][k] * amplitude[k];
    amplitude[row] /= factor_[row][row];
  }
  for (std::size_t k = 0; k < count_; ++k) {
    waves_[k].cosine = amplitude[2 * k];
    waves_[k].sine = amplitude[2 * k + 1];
  }
}

}  // namespace crestgate::analysis
