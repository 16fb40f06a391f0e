// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the heights of one trace to its texture and wave parameters.

#include <cstddef>
#include <memory>
#include <span>

#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/parameter_names.h"
#include "analysis/texture/texture_settings.h"
#include "analysis/texture/workspace.h"
#include "base/result.h"

namespace crestgate::analysis {

struct ParameterValue {
  double value = 0.0;
  bool defined = false;  // false: no such number on this trace (the skewness of a flat line), value is 0
};

// Purpose   everything that settings, spacing and number of samples determine, prepared once; then one run
// per trace. Method    S-filter (lambda_s) over the whole trace; form removal: primary profile P; mean line
// of lambda_c:
//           waviness W; R = P - W. R is neither centred nor levelled again. R, W and P parameters over the
//           evaluation length, section parameters over its sections. Waves over the whole trace from the
//           smoothed profile, see waves/wave_search.h. Without waves, WaveCount and WaveHeight are 0,
//           WaveSpacing is undefined and Workspace::waves().found is false.
// Source    ISO 21920-2:2021 clauses 3 to 5, filter before form as there; details in the headers of the
// parts. Threads   run is const; concurrent runs need a workspace each.
class TextureComputation {
 public:
  // Errors    kInvalidConfig: settings that no trace can meet. kOutOfRange: the spacing does not suit them.
  //           kTooShort: the trace does not hold the evaluation length, half a cut-off before and after, or
  //           the longest wave. The sentence says what is needed and what is there.
  static base::Result<TextureComputation> prepare(const TextureSettings& settings, double spacing_mm,
                                                  std::size_t sample_count);
  ~TextureComputation();
  TextureComputation(TextureComputation&&) noexcept;
  TextureComputation& operator=(TextureComputation&&) noexcept;
  TextureComputation(const TextureComputation&) = delete;
  TextureComputation& operator=(const TextureComputation&) = delete;

  [[nodiscard]] std::span<const ParameterName> names() const;
  [[nodiscard]] const EvaluationLayout& layout() const;
  [[nodiscard]] const TextureSettings& settings() const;
  [[nodiscard]] std::size_t sample_count() const;

  // Shape     heights_um: sample_count samples; values: one per name.
  // Errors    kNotFinite: a height, or a number computed from them, is not finite. kNotConverged: no arc
  // fits.
  //           values are unspecified then.
  // Memory    allocates nothing once the workspace has seen this shape.
  base::Outcome run(std::span<const double> heights_um, Workspace& workspace,
                    std::span<ParameterValue> values) const;

 private:
  struct Prepared;
  explicit TextureComputation(std::unique_ptr<const Prepared> prepared);
  base::Outcome make_profiles(std::span<const double> heights_um, Workspace& workspace) const;
  void evaluate(Workspace& workspace, std::span<ParameterValue> values) const;

  std::unique_ptr<const Prepared> prepared_;
};

}  // namespace crestgate::analysis
