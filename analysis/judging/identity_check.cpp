// SPDX-License-Identifier: Apache-2.0
#include "analysis/judging/identity_check.h"

#include <cmath>
#include <string>

#include "analysis/text/number_text.h"

namespace crestgate::analysis {
namespace {

constexpr int kLeastDecimals = 2;
constexpr int kMostDecimals = 9;
constexpr double kStraightMm = 1e6;  // a radius beyond a kilometre is none

std::string text_of(const Band& band) {
  return "the plan's part has " + shortest(band.lowest) + " to " + shortest(band.highest) + " mm";
}

// With decimals until the text, read back, lies outside of the band as the number does.
std::string outside(double value_mm, const Band& band) {
  std::string text;
  for (int decimals = kLeastDecimals; decimals <= kMostDecimals; ++decimals) {
    text = fixed(value_mm, decimals);
    if (!band.holds(std::round(value_mm * std::pow(10.0, decimals)) / std::pow(10.0, decimals))) break;
  }
  return text + " mm";
}

std::string unseen(const FaceLengthFinding& length) {
  const std::string where = length.start_mm ? "the end" : length.end_mm ? "the start" : "either end";
  return "face length not measured, the surface does not fall away at " + where + " of the traverse";
}

// A thousandth of a millimetre is less than a point of the face length.
constexpr double kPlaceMm = 1e-3;

}  // namespace

std::optional<std::string> why_not_this_part(const IdentityBands& bands, const MeasuredFace& face,
                                             const EvaluationLayout& layout, double lambda_c_mm) {
  if (bands.radius_mm) {
    const Band& band = *bands.radius_mm;
    const double radius_mm = face.form.radius_mm.value_or(INFINITY);
    if (!(radius_mm <= kStraightMm)) return "no radius, the face is straight; " + text_of(band);
    if (!band.holds(radius_mm)) return "fitted radius " + outside(radius_mm, band) + ", " + text_of(band);
  }
  if (!bands.face_length_mm) return std::nullopt;
  const Band& band = *bands.face_length_mm;
  const auto length_mm = face.length.length_mm();
  if (!length_mm) return unseen(face.length) + "; " + text_of(band);
  if (!band.holds(*length_mm)) return "face length " + outside(*length_mm, band) + ", " + text_of(band);
  const double first_mm = layout.evaluation_start_mm - 0.5 * lambda_c_mm;
  const double last_mm = layout.evaluation_start_mm + layout.evaluation_length_mm + 0.5 * lambda_c_mm;
  if (first_mm < *face.length.start_mm - kPlaceMm || last_mm > *face.length.end_mm + kPlaceMm) {
    return "the face lies from " + fixed(*face.length.start_mm, 2) + " to " + fixed(*face.length.end_mm, 2) +
           " mm of the traverse and does not hold what is evaluated, " + fixed(first_mm, 2) + " to " +
           fixed(last_mm, 2) + " mm";
  }
  return std::nullopt;
}

}  // namespace crestgate::analysis
