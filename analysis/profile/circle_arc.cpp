// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/circle_arc.h"

#include <array>
#include <cmath>
#include <limits>
#include <string>

#include "analysis/profile/orthogonal_polynomials.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kUmPerMm = 1000.0;
constexpr int kMaxSteps = 50;         // 4 to 8 are usual
constexpr double kStepLimit = 1e-12;  // of the half length
// Steps that stay above the limit but below this are rounding at the bottom of a very flat minimum.
constexpr double kSettledStep = 1e-9;

using Vector3 = std::array<double, 3>;
using Matrix3 = std::array<Vector3, 3>;

struct Unknowns {
  double a = 0.0;
  double d = 0.0;
  double angle = 0.0;
};

// The normalised abscissa of a sample: -1 .. 1 over the fitted part.
double position_of(std::size_t index, const ArcGrid& grid) {
  const double last = static_cast<double>(grid.fit_count) - 1.0;
  return (2.0 * (static_cast<double>(index) - static_cast<double>(grid.fit_first)) - last) / last;
}

double half_length_um(const ArcGrid& grid) {
  return 0.5 * (static_cast<double>(grid.fit_count) - 1.0) * grid.spacing_mm * kUmPerMm;
}

// Solves the symmetric positive system of the first `size` unknowns by Cholesky; false: not positive.
bool solve(Matrix3 matrix, Vector3& right, std::size_t size) {
  for (std::size_t j = 0; j < size; ++j) {
    for (std::size_t k = 0; k < j; ++k) matrix[j][j] -= matrix[j][k] * matrix[j][k];
    if (!(matrix[j][j] > 0.0)) return false;
    matrix[j][j] = std::sqrt(matrix[j][j]);
    for (std::size_t i = j + 1; i < size; ++i) {
      for (std::size_t k = 0; k < j; ++k) matrix[i][j] -= matrix[i][k] * matrix[j][k];
      matrix[i][j] /= matrix[j][j];
    }
  }
  for (std::size_t i = 0; i < size; ++i) {
    for (std::size_t k = 0; k < i; ++k) right[i] -= matrix[i][k] * right[k];
    right[i] /= matrix[i][i];
  }
  for (std::size_t i = size; i-- > 0;) {
    for (std::size_t k = i + 1; k < size; ++k) right[i] -= matrix[k][i] * right[k];
    right[i] /= matrix[i][i];
  }
  return true;
}

Unknowns start_from_parabola(std::span<const double> fitted_um, double half_um) {
  const OrthogonalPolynomials parabola(fitted_um.size(), 2);
  const auto c = parabola.fit(fitted_um);
  // p2 = t^2 - mean of t^2; its value at the middle of the grid is the constant part.
  const double middle = 0.5 * (static_cast<double>(fitted_um.size()) - 1.0);
  const double constant = (c[0] + c[2] * parabola.values_at(middle)[2]) / half_um;
  const double slope = c[1] / half_um;
  const double quadratic = c[2] / half_um;
  const double cosine = 1.0 / std::sqrt(1.0 + slope * slope);
  return {.a = -quadratic * cosine * cosine * cosine, .d = -constant * cosine, .angle = std::atan(slope)};
}

// Sums of the Gauss-Newton system at `now`. Order of unknowns: D, angle, A.
void accumulate(std::span<const double> heights_um, const ArcGrid& grid, double half_um, const Unknowns& now,
                Matrix3& normal, Vector3& right) {
  const double q = std::sqrt(1.0 + 4.0 * now.a * now.d);
  const double sine = std::sin(now.angle);
  const double cosine = std::cos(now.angle);
  for (std::size_t i = grid.fit_first; i < grid.fit_first + grid.fit_count; ++i) {
    const double x = position_of(i, grid);
    const double z = heights_um[i] / half_um;
    const double squares = x * x + z * z;
    const double along = -x * sine + z * cosine;
    const double power = now.a * squares + q * along + now.d;
    const double root = std::sqrt(1.0 + 4.0 * now.a * power);
    const double distance = 2.0 * power / (1.0 + root);  // difference of two radii without their cancellation
    const Vector3 row{(1.0 + 2.0 * now.a / q * along) / root, q * (-x * cosine - z * sine) / root,
                      (squares + 2.0 * now.d / q * along - distance * distance) / root};
    for (std::size_t r = 0; r < 3; ++r) {
      right[r] -= row[r] * distance;
      for (std::size_t k = 0; k <= r; ++k) normal[r][k] += row[r] * row[k];
    }
  }
}

}  // namespace

base::Result<CircleArc> fit_circle_arc(std::span<const double> heights_um, const ArcGrid& grid,
                                       std::optional<double> radius_mm) {
  CRESTGATE_EXPECTS(grid.fit_count >= 3 && grid.fit_first + grid.fit_count <= heights_um.size());
  const double half_um = half_length_um(grid);
  Unknowns now = start_from_parabola(heights_um.subspan(grid.fit_first, grid.fit_count), half_um);
  if (radius_mm) now.a = std::copysign(0.5 * half_um / (*radius_mm * kUmPerMm), now.a);
  const std::size_t unknowns = radius_mm ? 2 : 3;
  double step = std::numeric_limits<double>::infinity();
  for (int pass = 0; pass < kMaxSteps && step > kStepLimit; ++pass) {
    Matrix3 normal{};
    Vector3 right{};
    accumulate(heights_um, grid, half_um, now, normal, right);
    if (!solve(normal, right, unknowns)) break;
    now.d += right[0];
    now.angle += right[1];
    if (!radius_mm) now.a += right[2];
    step = std::abs(right[0]) + std::abs(right[1]) + (radius_mm ? 0.0 : std::abs(right[2]));
  }
  if (!(step <= kSettledStep)) {
    return base::Error{base::ErrorCode::kNotConverged, "no circle arc could be fitted to the profile"};
  }
  return CircleArc{.a = now.a,
                   .d = now.d,
                   .slope_angle = now.angle,
                   .half_length_um = half_um,
                   .radius_mm = half_um / kUmPerMm / std::abs(2.0 * now.a),
                   .convex = now.a >= 0.0};
}

base::Outcome subtract_circle_arc(const CircleArc& arc, const ArcGrid& grid,
                                  std::span<const double> heights_um, std::span<double> residual_um) {
  CRESTGATE_EXPECTS(heights_um.size() == residual_um.size());
  const double q = std::sqrt(1.0 + 4.0 * arc.a * arc.d);
  const double b = -q * std::sin(arc.slope_angle);
  const double c = q * std::cos(arc.slope_angle);
  for (std::size_t i = 0; i < heights_um.size(); ++i) {
    const double x = position_of(i, grid);
    const double rest = (arc.a * x + b) * x + arc.d;
    const double discriminant = c * c - 4.0 * arc.a * rest;
    if (!(discriminant >= 0.0)) {
      return base::Error{
          base::ErrorCode::kNotConverged,
          "the fitted arc of " + std::to_string(arc.radius_mm) + " mm ends inside of the profile"};
    }
    // The root of a z^2 + c z + rest = 0 on the measured side, without cancellation for a flat arc.
    const double height = -2.0 * rest / (c + std::sqrt(discriminant));
    residual_um[i] = heights_um[i] - arc.half_length_um * height;
  }
  return base::Done{};
}

}  // namespace crestgate::analysis
