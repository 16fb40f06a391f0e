// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the measured heights of one trace to its profiles P, R and W, its waves and the form of its face.

#include <cstddef>
#include <memory>
#include <span>

#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/texture_settings.h"
#include "analysis/texture/workspace.h"
#include "base/result.h"

namespace crestgate::analysis {

// What is wanted beside the profiles.
struct ChainWishes {
  bool waves = false;
  bool face = false;
};

// Purpose   everything that settings, spacing and number of samples determine, prepared once; then one run
//           per trace.
// Method    1. Preparation (trace_preparation.h): gaps, spikes and spacing, as far as the settings ask for
//              it.
//           2. S-filter: Gaussian low pass of lambda_s over the whole trace, renormalised at the ends.
//           3. Form removal, a disk rolled along when asked for: primary profile P.
//           4. Mean line of lambda_c: W; R = P - W, neither centred nor levelled again. With lambda_f the
//              Gaussian mean line of that length is taken off W in turn, and P = R + W + what was taken.
//           5. Waves and face from the smoothed profile of step 2, form not removed. The form beside waves is
//              an arc of free radius where the settings have an arc, else a parabola: a crown is no wave.
// Source    ISO 21920-2:2021 clause 3, filter before form as there - from memory.
// Threads   run is const; concurrent runs need a workspace each.
class ProfileChain {
 public:
  // Errors    kInvalidConfig, kOutOfRange, kTooShort with a sentence: what is needed and what is there.
  static base::Result<ProfileChain> prepare(const TextureSettings& settings, const TraceShape& measured,
                                            ChainWishes wishes);
  ~ProfileChain();
  ProfileChain(ProfileChain&&) noexcept;
  ProfileChain& operator=(ProfileChain&&) noexcept;
  ProfileChain(const ProfileChain&) = delete;
  ProfileChain& operator=(const ProfileChain&) = delete;

  // Of the prepared trace; the same as measured unless it is resampled.
  [[nodiscard]] const EvaluationLayout& layout() const;
  [[nodiscard]] TraceShape shape() const;

  // Shape     heights_um: the measured samples, NaN where missing or over range.
  // Errors    kNoData: more is missing than may be bridged. kNotFinite: an infinite height, or one beyond a
  //           kilometre. kNotConverged: no arc fits.
  // Memory    allocates nothing once the workspace has seen this shape.
  base::Outcome run(std::span<const double> heights_um, Workspace& workspace) const;

 private:
  struct Prepared;
  explicit ProfileChain(std::unique_ptr<const Prepared> prepared);
  [[nodiscard]] static base::Outcome check_heights(const Workspace& workspace);
  static void level_out(double largest_um, Workspace& workspace);
  base::Outcome make_primary(Workspace& workspace) const;
  void split(Workspace& workspace) const;
  base::Outcome look_at_face(Workspace& workspace) const;

  std::unique_ptr<const Prepared> prepared_;
};

}  // namespace crestgate::analysis
