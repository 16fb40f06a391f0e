// SPDX-License-Identifier: Apache-2.0
#pragma once
// How long a face is, from a traverse that runs over both of its edges.

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "base/result.h"

namespace crestgate::analysis {

// A face ends where the surface lies this much below the form of the face and stays there. More than
// texture, waves or the roll-off of finishing amount to (those belong to the face: EdgeDropStart and
// EdgeDropEnd), less than a chamfer or a rounding that a drawing knows.
inline constexpr double kFallUm = 20.0;
// ... for this length at least, so that no groove of the finish is an edge.
inline constexpr double kFallenMm = 0.1;

struct FaceLengthOptions {
  double spacing_mm = 0.0;
  std::size_t sample_count = 0;
};

// Places count from the trace's first sample. Absent: the surface does not fall away before that end of the
// trace, or not for kFallenMm.
struct FaceLengthFinding {
  std::optional<double> start_mm;
  std::optional<double> end_mm;
  [[nodiscard]] std::optional<double> length_mm() const {
    if (!start_mm || !end_mm) return std::nullopt;
    return *end_mm - *start_mm;
  }
};

struct FaceLengthWorkspace {
  std::vector<double> points_um;
  std::vector<double> deviation_um;
};

// Purpose   the places where a face begins and ends.
// Method    1. Points: means of groups of samples, 0.004 mm long, or single samples where those lie wider.
//           2. A parabola is fitted to half a millimetre in the middle of the trace and continued a quarter of
//              its length to either side. As far as the surface follows it, the fit takes the new points in:
//              from fit to fit it grows over the face, so that it is never continued far beyond what it knows,
//              and crown and tilt of the face do not count as a fall. 0.1 mm before an end that was found are
//              left out of the next fit. It ends when a fit changes nothing.
//           3. Where the surface lies below the parabola there, the face ends: at the place interpolated
//              between the two points about -kFallUm.
// Accuracy  at a vertical edge the point that lies half over it counts as fallen: up to one and a half points,
//           0.006 mm, too short at each end. Elsewhere the length is that between the places kFallUm below
//           the form: on a chamfer of angle a it is kFallUm / tan a longer at that end than up to the corner
//           (45 degrees: 0.02 mm), on a rounding of radius r sqrt(2 r kFallUm) longer than up to where the
//           rounding begins (0.2 mm: 0.09 mm). Roughness z at the edge moves it by z / tan a.
// Undefined where the trace does not show the fall: it ends on the face, over the fall, or on a shoulder that
//           rises instead. A pickup that runs to its stop beyond an edge makes the whole trace unusable: the
//           traverse should end little beyond the edges.
// Source    ours; edges continued from the inner face as in face_form.h.
// Threads   measure is const; concurrent calls need a workspace each.
// Memory    allocates nothing once the workspace has seen this shape.
class FaceLength {
 public:
  // Errors    kOutOfRange: no positive spacing. kTooShort: the trace is no longer than two falls.
  static base::Result<FaceLength> prepare(const FaceLengthOptions& options);

  // Shape     primary_um: the whole trace after its line or arc was taken off, positive away from the
  //           material; the form may have been fitted to any part of the face.
  // Pre       finite heights; the middle of the trace lies on the face.
  FaceLengthFinding measure(std::span<const double> primary_um, FaceLengthWorkspace& workspace) const;

 private:
  struct Stretch {  // of points, half-open
    std::size_t first = 0;
    std::size_t end = 0;
    bool starts_off = false;  // the surface leaves the form before `first`
    bool ends_off = false;    // and at `end`
    friend bool operator==(const Stretch&, const Stretch&) = default;
  };

  FaceLength() = default;
  void make_points(std::span<const double> primary_um, FaceLengthWorkspace& workspace) const;
  void fit(const Stretch& face, FaceLengthWorkspace& workspace) const;
  [[nodiscard]] Stretch grown(const Stretch& face, std::span<const double> deviation_um) const;
  [[nodiscard]] double place_mm(double point) const;

  FaceLengthOptions options_;
  std::size_t group_ = 1;  // samples in a point
  std::size_t first_sample_ = 0;
  std::size_t point_count_ = 0;
  std::size_t start_points_ = 0;   // of the first fit
  std::size_t fallen_points_ = 0;  // in kFallenMm
};

}  // namespace crestgate::analysis
