// SPDX-License-Identifier: Apache-2.0
#pragma once
// The form of a short face: crown, taper, edges and the highest spot.

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

#include "analysis/face/face_form_settings.h"
#include "analysis/filters/gaussian_low_pass.h"
#include "analysis/profile/orthogonal_polynomials.h"
#include "analysis/waves/wave_finding.h"
#include "base/result.h"

namespace crestgate::analysis {

struct FaceFormOptions {
  FaceFormSettings settings;
  double spacing_mm = 0.0;
  std::size_t sample_count = 0;
};

struct FaceFinding {
  double length_mm = 0.0;      // of the face
  double crown_um = 0.0;       // positive: highest in the middle
  double crown_skew_um = 0.0;  // what the skew may have faked of it: added on a shaft, taken off in a bore
  double taper_um = 0.0;       // over the length of the face; positive: rising along the traverse
  bool has_edges = false;
  double edge_drop_start_um = 0.0;  // positive: the edge lies below the crown
  double edge_drop_end_um = 0.0;
  double high_spot_um = 0.0;  // above the fitted form
  double high_spot_mm = 0.0;  // from the trace's first sample
};

// Scratch memory, and the last face as points: means of groups of samples.
struct FaceWorkspace {
  std::vector<double> points_um;
  std::vector<double> form_um;  // line and crown, at the points
  std::vector<double> wave_um;  // the waves fitted beside them
  std::vector<double> clean;
  std::vector<double> residual;
  std::vector<double> columns;
  std::vector<double> deviation;
  std::vector<double> smoothed;
  std::vector<double> ordered;
  FilterWorkspace filter;
};

// Purpose   how a face departs from straight, apart from roughness and waves.
// Method    1. Points: means of groups of samples, a sixteenth of the spot smoothing long.
//           2. The inner face lies between the two edges. A line, a parabola and the waves that the wave
//              search found are fitted to it together by least squares: a wave that is no whole number of
//              times on the face does not tilt or bend the form, and a crown makes no wave. Only the
//              wavelengths are taken over, heights and places are fitted here.
//           3. Crown: the parabola's height in the middle of the face above the chord through its two ends:
//              -c (L / 2)^2 for c x^2, L the whole length of the face, edges included.
//              Taper: slope of the line (the parabola's in the middle, which is the same) times L.
//           4. Edge drop: the deviation from form and waves, median over the inner face less median over the
//              edge. The form is continued from the inner face to the edge. Half of the edge lies deeper than
//              its drop. Medians: a scratch or a burr on less than half of the edge does not move them, and
//              roughness with deep valleys moves both alike.
//           5. High spot: the deviation from the form alone (a wave's crest may be the spot), Gaussian low
//              pass, renormalised at the ends of the face; its largest value, a parabola between points.
// Source    ours; words and pictures: ../waves/WAVES.md.
// Threads   measure is const; concurrent calls need a workspace each.
// Memory    allocates nothing once the workspace has seen this shape.
class FaceForm {
 public:
  // Errors    kInvalidConfig: a length that no trace can meet. kTooShort: the trace does not hold the face,
  //           or the inner face is less than half of it. kOutOfRange: an edge or the spot smoothing is too
  //           short for the spacing.
  static base::Result<FaceForm> prepare(const FaceFormOptions& options);

  // Shape     heights_um: the whole trace, smoothed by the S-filter, form not removed, positive away from the
  //           material. waves: what WaveSearch found; those longer than the inner face or shorter than four
  //           points are passed over. The search must have removed an arc or a polynomial of degree 2, or it
  //           may call the crown a wave.
  // Pre       finite heights.
  FaceFinding measure(std::span<const double> heights_um, std::span<const WaveComponent> waves,
                      FaceWorkspace& workspace) const;

  [[nodiscard]] std::size_t sample_count() const { return options_.sample_count; }

 private:
  explicit FaceForm(const FaceFormOptions& options) : options_(options) {}
  [[nodiscard]] std::size_t inner_count() const { return point_count_ - 2 * edge_count_; }
  base::Outcome lay_out();
  [[nodiscard]] base::Outcome check_layout() const;
  void make_points(std::span<const double> heights_um, FaceWorkspace& workspace) const;
  void fit_waves(std::span<const WaveComponent> waves, FaceWorkspace& workspace) const;
  void fit_form(FaceWorkspace& workspace, FaceFinding& finding) const;
  void drop_edges(FaceWorkspace& workspace, FaceFinding& finding) const;
  void seek_spot(FaceWorkspace& workspace, FaceFinding& finding) const;

  FaceFormOptions options_;
  double length_mm_ = 0.0;
  double crown_skew_um_ = 0.0;
  std::size_t group_ = 1;         // samples in a point
  std::size_t first_sample_ = 0;  // of the first point
  std::size_t point_count_ = 0;
  std::size_t edge_count_ = 0;  // points of one edge
  double point_mm_ = 0.0;
  double middle_mm_ = 0.0;  // of the face, from the middle of its points: they leave out a sample at most
  std::vector<double> form_columns_;  // orthonormal, on the inner face
  OrthogonalPolynomials parabola_;
  std::optional<GaussianLowPass> smoothing_;
};

}  // namespace crestgate::analysis
