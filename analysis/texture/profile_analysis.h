// SPDX-License-Identifier: Apache-2.0
#pragma once
// From one profile (P, R or W) to its parameters.

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "analysis/texture/core_roughness.h"
#include "analysis/texture/height_parameters.h"
#include "analysis/texture/hybrid_parameters.h"
#include "analysis/texture/parameter_family.h"
#include "analysis/texture/probability_parameters.h"
#include "analysis/texture/profile_elements.h"
#include "analysis/texture/section_parameters.h"
#include "analysis/texture/significant_features.h"
#include "analysis/texture/spatial_parameters.h"
#include "analysis/texture/texture_settings.h"
#include "analysis/texture/volume_parameters.h"
#include "base/result.h"

namespace crestgate::analysis {

struct ProfileAnalysisOptions {
  double spacing_mm = 0.0;
  std::size_t sample_count = 0;  // of the whole trace
  std::size_t first_sample = 0;  // of the evaluation length
  std::size_t evaluated_samples = 0;
  std::size_t sections = 5;  // that the evaluation length is cut into
  ElementThresholds elements = {};
  double pruning_percent = 5.0;             // of the profile's own Rz
  double curvature_half_width_mm = 0.0025;  // of the parabola at peaks and pits: lambda_s; 0: no curvatures
  FamilySet families = FamilySet::all();
};

// One struct per family; those that were not computed hold their defaults.
struct ProfileNumbers {
  FamilySet computed;
  HeightParameters heights;
  SectionParameters sections;
  SpatialParameters spatial;
  HybridParameters hybrid;
  ElementParameters elements;
  FeatureParameters features;
  CoreRoughness core;
  ProbabilityParameters probability;
  VolumeParameters volumes;
};

// Purpose   memory that one run after the other writes into. It grows at the first profile of a shape; after
//           that nothing is allocated.
// Lifetime  the spans are valid until the next run with this workspace.
// Threads   one workspace per thread.
class ProfileWorkspace {
 public:
  // The evaluated heights in falling order, for a MaterialRatioCurve; empty unless the curve, the probability
  // or the volume parameters were computed.
  [[nodiscard]] std::span<const double> falling_um() const { return falling_um_; }
  // Peak and pit of every section; empty unless the section parameters were computed.
  [[nodiscard]] std::span<const SectionExtremes> sections() const { return sections_; }
  // The significant peaks and pits; empty unless the feature parameters were computed.
  [[nodiscard]] std::span<const Feature> features() const { return features_; }

 private:
  friend class ProfileAnalysis;

  std::vector<double> falling_um_;
  std::vector<SectionExtremes> sections_;
  std::vector<Feature> features_;
  SortWorkspace sort_;
  ElementWorkspace elements_;
  SpatialWorkspace spatial_;
};

// Purpose   everything that the options determine, prepared once; then one run per profile. P, R and W of one
//           trace can share an analysis.
// Method    families that others rest on come with them: elements and features need the Rz of the sections.
//           Thresholds are percentages of that Rz. Everything else: see the headers of the families.
// Threads   run is const; concurrent runs need a workspace each.
class ProfileAnalysis {
 public:
  // Errors    kInvalidConfig or kOutOfRange: options that no profile can be analysed with; the sentence says
  //           what is wanted and what was found.
  static base::Result<ProfileAnalysis> prepare(const ProfileAnalysisOptions& options);
  ~ProfileAnalysis();
  ProfileAnalysis(ProfileAnalysis&&) noexcept;
  ProfileAnalysis& operator=(ProfileAnalysis&&) noexcept;
  ProfileAnalysis(const ProfileAnalysis&) = delete;
  ProfileAnalysis& operator=(const ProfileAnalysis&) = delete;

  [[nodiscard]] const ProfileAnalysisOptions& options() const;

  // Shape     whole_profile_um: sample_count heights, all finite; the mean line is z = 0.
  // Time      O(n log n); allocates nothing once the workspace has seen this shape.
  void run(std::span<const double> whole_profile_um, ProfileWorkspace& workspace,
           ProfileNumbers& numbers) const;

  // The same for some of the families only.
  // Pre       options().families has all of them.
  void run(std::span<const double> whole_profile_um, FamilySet families, ProfileWorkspace& workspace,
           ProfileNumbers& numbers) const;

 private:
  struct Prepared;
  explicit ProfileAnalysis(std::unique_ptr<const Prepared> prepared);
  void run_over_curve(std::span<const double> heights_um, ProfileWorkspace& workspace,
                      ProfileNumbers& numbers) const;
  void run_over_sections(const EvaluatedProfile& profile, ProfileWorkspace& workspace,
                         ProfileNumbers& numbers) const;

  std::unique_ptr<const Prepared> prepared_;
};

}  // namespace crestgate::analysis
