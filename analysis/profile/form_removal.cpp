// SPDX-License-Identifier: Apache-2.0
#include "analysis/profile/form_removal.h"

#include <algorithm>
#include <string>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

std::size_t unknowns_of(const FormRemoval& form) {
  switch (form.kind) {
    case FormKind::kNone:
      return 0;
    case FormKind::kLine:
      return 2;
    case FormKind::kArc:
      return 3;
    case FormKind::kPolynomial:
      return static_cast<std::size_t>(form.degree) + 1;
  }
  return 0;
}

}  // namespace

base::Result<FormFit> FormFit::prepare(const FormRemoval& form, const FormGrid& grid) {
  CRESTGATE_EXPECTS(grid.fit_first + grid.fit_count <= grid.sample_count);
  if (form.kind == FormKind::kPolynomial && (form.degree < 1 || form.degree > kHighestFormDegree)) {
    return invalid("the degree of the form polynomial must be 1 to " + std::to_string(kHighestFormDegree) +
                   ", found " + std::to_string(form.degree));
  }
  if (form.kind == FormKind::kArc && form.radius_mm) {
    const double chord_mm = static_cast<double>(grid.fit_count) * grid.spacing_mm;
    if (!(*form.radius_mm > 0.5 * chord_mm)) {
      return invalid("the radius of the form arc must exceed half of the fitted length " +
                     std::to_string(chord_mm) + " mm, found " + std::to_string(*form.radius_mm) + " mm");
    }
  }
  FormFit fit(form, grid);
  if (form.kind == FormKind::kPolynomial) {
    fit.grid_.fit_first = 0;
    fit.grid_.fit_count = grid.sample_count;
  }
  if (fit.grid_.fit_count < unknowns_of(form)) {
    return base::Error{base::ErrorCode::kTooShort,
                       "the form needs at least " + std::to_string(unknowns_of(form)) + " samples, found " +
                           std::to_string(fit.grid_.fit_count)};
  }
  if (form.kind == FormKind::kLine || form.kind == FormKind::kPolynomial) {
    const int degree = form.kind == FormKind::kLine ? 1 : form.degree;
    fit.polynomials_ = OrthogonalPolynomials(fit.grid_.fit_count, degree);
  }
  return fit;
}

base::Outcome FormFit::remove(std::span<const double> heights_um, std::span<double> residual_um,
                              FormFinding& finding) const {
  finding = {};
  CRESTGATE_EXPECTS(heights_um.size() == grid_.sample_count && residual_um.size() == grid_.sample_count);
  switch (form_.kind) {
    case FormKind::kNone:
      if (residual_um.data() != heights_um.data()) std::ranges::copy(heights_um, residual_um.begin());
      return base::Done{};
    case FormKind::kLine:
    case FormKind::kPolynomial: {
      const auto coefficients = polynomials_.fit(heights_um.subspan(grid_.fit_first, grid_.fit_count));
      polynomials_.subtract(coefficients, grid_.fit_first, heights_um, residual_um);
      return base::Done{};
    }
    case FormKind::kArc: {
      const ArcGrid arc_grid{
          .spacing_mm = grid_.spacing_mm, .fit_first = grid_.fit_first, .fit_count = grid_.fit_count};
      const auto arc = fit_circle_arc(heights_um, arc_grid, form_.radius_mm);
      if (!arc) return arc.error();
      if (auto subtracted = subtract_circle_arc(*arc, arc_grid, heights_um, residual_um); !subtracted) {
        return subtracted;
      }
      finding.radius_mm = arc->radius_mm;
      return base::Done{};
    }
  }
  return base::Done{};
}

int FormFit::tangent_degree() const {
  switch (form_.kind) {
    case FormKind::kNone:
      return -1;
    case FormKind::kLine:
      return 1;
    case FormKind::kArc:
      return form_.radius_mm ? 1 : 2;
    case FormKind::kPolynomial:
      return form_.degree;
  }
  return -1;
}

}  // namespace crestgate::analysis
