// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the heights of one trace to its texture, wave and form parameters.

#include <cstddef>
#include <memory>
#include <span>
#include <string>

#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/parameter_names.h"
#include "analysis/texture/parameter_value.h"
#include "analysis/texture/texture_settings.h"
#include "analysis/texture/workspace.h"
#include "base/result.h"

namespace crestgate::analysis {

// Purpose   the one computation that live judging, replay, reports and the command line share.
// Method    profiles P, R, W by ProfileChain; R, W and P parameters over the evaluation length by
//           ProfileAnalysis, of each family only what is asked for; waves and face over the whole trace.
//           Without waves, WaveCount and WaveHeight are 0 and WaveSpacing does not exist.
// Doubts    every value carries why it may not be trusted on this trace (value_doubt.h).
// Threads   run is const; concurrent runs need a workspace each.
class TextureComputation {
 public:
  // `only`    symbols; those that the settings do not give are passed over. Empty: everything.
  // Errors    kInvalidConfig: settings that no trace can meet. kOutOfRange: the spacing does not suit them.
  //           kTooShort: the trace does not hold the evaluation length, half a cut-off before and after, or
  //           the longest wave. The sentence says what is needed and what is there.
  static base::Result<TextureComputation> prepare(const TextureSettings& settings, double spacing_mm,
                                                  std::size_t sample_count,
                                                  std::span<const std::string> only = {});
  ~TextureComputation();
  TextureComputation(TextureComputation&&) noexcept;
  TextureComputation& operator=(TextureComputation&&) noexcept;
  TextureComputation(const TextureComputation&) = delete;
  TextureComputation& operator=(const TextureComputation&) = delete;

  [[nodiscard]] std::span<const ParameterName> names() const;
  [[nodiscard]] const EvaluationLayout& layout() const;
  [[nodiscard]] const TextureSettings& settings() const;
  [[nodiscard]] std::size_t sample_count() const;  // of the measured trace
  // Of the prepared trace, which layout() counts in; another only when it is resampled.
  [[nodiscard]] double spacing_mm() const;
  [[nodiscard]] std::size_t prepared_count() const;

  // Shape     heights_um: sample_count samples, NaN where missing or over range; values: one per name.
  //           of_gauge: what doubts_of_gauge knows to be wrong; passed on to the values that it touches.
  // Errors    kNoData: more is missing than the settings let be bridged. kNotFinite: a height, or a number
  //           computed from them, is not finite. kNotConverged: no arc fits. values are unspecified then.
  // Memory    allocates nothing once the workspace has seen this shape.
  base::Outcome run(std::span<const double> heights_um, Workspace& workspace,
                    std::span<ParameterValue> values, DoubtSet of_gauge = {}) const;

  // The values of the sections that parameter `index` is the mean of; empty: it is not taken in sections.
  // Lifetime  until the next run with this workspace.
  [[nodiscard]] std::span<const double> section_values(std::size_t index, const Workspace& workspace) const;

 private:
  struct Prepared;
  explicit TextureComputation(std::unique_ptr<const Prepared> prepared);
  void evaluate(Workspace& workspace, std::span<ParameterValue> values, DoubtSet of_gauge) const;

  std::unique_ptr<const Prepared> prepared_;
};

}  // namespace crestgate::analysis
