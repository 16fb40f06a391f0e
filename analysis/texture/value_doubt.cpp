// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/value_doubt.h"

#include <algorithm>
#include <array>

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr std::array<DoubtText, kValueDoubts> kTexts = {{
    {ValueDoubt::kShortRunUp, "short_run_up",
     "run-up or run-down shorter than the filter's reach: its end rule enters"},
    {ValueDoubt::kNoSmoothing, "no_smoothing",
     "without lambda_s: it grows with noise and with fine sampling"},
    {ValueDoubt::kBridged, "bridged", "missing samples were bridged by straight lines"},
    {ValueDoubt::kSpikesRemoved, "spikes_removed", "spikes were taken out, as the settings ask"},
    {ValueDoubt::kResampled, "resampled", "computed from resampled heights"},
    {ValueDoubt::kNotConverged, "not_converged", "the robust filter did not settle on this trace"},
    {ValueDoubt::kStarved, "starved", "the robust filter gave all heights of a stretch no weight"},
    {ValueDoubt::kPulledByValleys, "pulled_by_valleys",
     "a linear mean line sags under valleys; the standard's default here is the robust filter"},
    {ValueDoubt::kFewElements, "few_elements", "the mean of fewer than ten hills and dales"},
    {ValueDoubt::kShortSections, "short_sections", "a section is no longer than the waves in it"},
    {ValueDoubt::kHiddenWaves, "hidden_waves", "lower waves would hide in the roughness of this face"},
    {ValueDoubt::kBelowDrive, "below_drive", "no higher than the waves that the drive itself writes"},
    {ValueDoubt::kSkewedTrace, "skewed_trace",
     "a trace askew to the zone's axis could fake or hide as much as CrownSkew"},
    {ValueDoubt::kSkidded, "skidded", "a skidded pickup sees neither waves nor form"},
    {ValueDoubt::kCoarseSpacing, "coarse_spacing", "samples further apart than the setting class allows"},
    {ValueDoubt::kLargeTip, "large_tip", "the tip is rounder than the setting class allows"},
}};

}  // namespace

const DoubtText& text_of(ValueDoubt doubt) {
  const auto found = std::ranges::find(kTexts, doubt, &DoubtText::doubt);
  CRESTGATE_EXPECTS(found != kTexts.end());
  return *found;
}

}  // namespace crestgate::analysis
