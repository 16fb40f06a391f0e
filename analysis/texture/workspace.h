// SPDX-License-Identifier: Apache-2.0
#pragma once
// Scratch memory of texture computations, and the profiles of the last one.

#include <array>
#include <span>
#include <vector>

#include "analysis/face/face_form.h"
#include "analysis/filters/filter_workspace.h"
#include "analysis/filters/mean_line_report.h"
#include "analysis/morphology/disk_filter.h"
#include "analysis/profile/form_removal.h"
#include "analysis/profile/trace_preparation.h"
#include "analysis/texture/profile_analysis.h"
#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {

// Purpose   memory that one computation after the other writes into. It grows at the first trace of a shape;
//           after that nothing is allocated.
// Lifetime  the spans are valid until the next run with this workspace.
// Threads   one workspace per thread.
class Workspace {
 public:
  // Profiles over the whole trace, micrometres; empty before the first successful run.
  [[nodiscard]] std::span<const double> primary_um() const { return primary_um_; }      // P
  [[nodiscard]] std::span<const double> roughness_um() const { return roughness_um_; }  // R
  [[nodiscard]] std::span<const double> waviness_um() const { return waviness_um_; }    // W
  // The heights of R over the evaluation length, falling.
  [[nodiscard]] std::span<const double> material_ratio_um() const { return analyses_[0].falling_um(); }
  // The waves of the band over the whole trace; empty when the settings have no wave band.
  [[nodiscard]] std::span<const double> wave_um() const { return waves_.wave_um; }
  [[nodiscard]] const WaveFinding& waves() const { return finding_; }
  [[nodiscard]] const FaceFinding& face() const { return face_finding_; }
  [[nodiscard]] const FormFinding& form() const { return form_finding_; }
  [[nodiscard]] const PreparationReport& preparation() const { return preparation_report_; }
  [[nodiscard]] const MeanLineReport& mean_line() const { return mean_line_; }
  // Of R, W and P; of families that were not computed the numbers are 0.
  [[nodiscard]] std::span<const ProfileNumbers> numbers() const { return numbers_; }

 private:
  friend class ProfileChain;
  friend class TextureComputation;

  std::vector<double> raw_um_;  // the prepared heights; free to use once they are smoothed
  std::vector<double> smoothed_um_;
  std::vector<double> primary_um_;
  std::vector<double> roughness_um_;
  std::vector<double> waviness_um_;
  PreparationWorkspace preparation_;
  PreparationReport preparation_report_;
  FilterWorkspace filter_;
  MeanLineReport mean_line_;
  RollingDiskWorkspace disk_;
  WaveWorkspace waves_;
  WaveFinding finding_;
  FaceWorkspace face_;
  FaceFinding face_finding_;
  FormFinding form_finding_;
  std::array<ProfileWorkspace, 3> analyses_;  // of R, W and P
  std::array<ProfileNumbers, 3> numbers_;
  std::vector<double> section_values_;  // one row of `sections` values for each parameter that has them
};

}  // namespace crestgate::analysis
