// SPDX-License-Identifier: Apache-2.0
#pragma once
// The crests and the single waves of a wave profile.

#include <cstddef>
#include <span>

#include "analysis/waves/wave_finding.h"

namespace crestgate::analysis {

struct SingleWaveOptions {
  double spacing_mm = 0.0;
  double least_swing_um = 0.0;  // what the profile must rise before a crest and fall after it
  std::size_t stride = 1;       // look at every so-manieth sample only; crests are still placed among all
};

// Purpose   each crest and each whole wave of a wave profile that carries no roughness any more.
// Shape     wave_um: the profile at every sample of the face.
// Pre       least_swing_um > 0; stride >= 1, far below the shortest wave.
// Method    A crest is a highest place before which the profile rises by the least swing and after which it
//           falls by as much, both on the face; a valley is a crest of the profile upside down. So crests and
//           valleys alternate, a ripple lower than the least swing is part of its neighbour, and the ends of
//           the face bear neither: half a wave at an end counts as no wave. A parabola through the sample and
//           its neighbours gives place and height between the samples. The single wave runs from valley to
//           valley; its height is the crest's above the mean of the two valleys.
// Laws      the profile upside down exchanges crests and valleys; the profile reversed gives the same waves
//           from the other end.
void find_single_waves(std::span<const double> wave_um, const SingleWaveOptions& options, SingleWaves& found);

}  // namespace crestgate::analysis
