// SPDX-License-Identifier: Apache-2.0
#pragma once
// The F-operation: subtract the form that was associated with the profile by least squares.

#include <cstddef>
#include <optional>
#include <span>

#include "analysis/profile/circle_arc.h"
#include "analysis/profile/orthogonal_polynomials.h"
#include "base/result.h"

namespace crestgate::analysis {

enum class FormKind {
  kNone,
  kLine,
  kArc,
  kPolynomial,
};

constexpr int kHighestFormDegree = 10;

struct FormRemoval {
  FormKind kind = FormKind::kLine;
  int degree = 1;                                  // polynomial only, 1 .. kHighestFormDegree
  std::optional<double> radius_mm = std::nullopt;  // arc only; absent: the radius is fitted too
  friend bool operator==(const FormRemoval&, const FormRemoval&) = default;
};

// Where the profile lies and which part of it the form is fitted to.
struct FormGrid {
  std::size_t sample_count = 0;
  double spacing_mm = 0.0;
  std::size_t fit_first = 0;
  std::size_t fit_count = 0;
};

// What was found while a form was removed.
struct FormFinding {
  std::optional<double> radius_mm;  // of the arc, infinite on a line; absent: the form is no arc
};

// Purpose   one form on one grid, ready to be subtracted from any number of profiles.
// Method    line and arc are fitted to fit_first .. fit_first + fit_count - 1 and continued over the rest, so
//           that a disturbance in the run-up cannot tilt the evaluation length. A polynomial is fitted to the
//           whole trace instead: continued beyond its data it grows too fast to filter across.
//           Line and polynomial: vertical deviations, orthogonal_polynomials.h. Arc: distances normal to the
//           circle are made least, what is subtracted is the arc's height, circle_arc.h.
class FormFit {
 public:
  // Errors    kInvalidConfig: degree or radius impossible. kTooShort: fewer samples than the form has
  //           unknowns.
  static base::Result<FormFit> prepare(const FormRemoval& form, const FormGrid& grid);

  // Shape     heights_um and residual_um: sample_count samples; they may be the same memory.
  // Pre       all heights are finite.
  // Errors    kNotConverged (arc only); the finding is empty then.
  [[nodiscard]] base::Outcome remove(std::span<const double> heights_um,
                                     std::span<double> residual_um) const {
    FormFinding unseen;
    return remove(heights_um, residual_um, unseen);
  }
  [[nodiscard]] base::Outcome remove(std::span<const double> heights_um, std::span<double> residual_um,
                                     FormFinding& finding) const;

  // Degree of the polynomial that is left undetermined near the fitted form: what a fit of something else to
  // the residual has to fit along with it. -1: none was fitted.
  [[nodiscard]] int tangent_degree() const;

 private:
  FormFit(FormRemoval form, FormGrid grid) : form_(form), grid_(grid) {}

  FormRemoval form_;
  FormGrid grid_;
  OrthogonalPolynomials polynomials_;
};

}  // namespace crestgate::analysis
