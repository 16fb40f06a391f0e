// SPDX-License-Identifier: Apache-2.0
#pragma once
// How high a wave must be to be seen, and what is noise on a face.

#include <cstddef>

namespace crestgate::analysis {

// The noise of a face in its spectrum. An ordinate is the sum of squares that one sinusoid explains.
struct WaveNoise {
  double level = 0.0;         // mean ordinate
  std::size_t ordinates = 0;  // independent ones that it was judged by
  std::size_t in_band = 0;    // of these
};

// Purpose   bound of the chance that noise alone gave an ordinate of `explained`. A wave counts up to
//           kFalseAlarm.
// Method    Fisher's g over min(ordinates, 12) ordinates of that level, for three places per ordinate of the
//           band (fisher_test.h).
double chance_from_noise(double explained, const WaveNoise& noise);

constexpr double kFalseAlarm = 1e-4;

// Purpose   the ordinate at which chance_from_noise falls to kFalseAlarm; its inverse in closed form:
//           E = L m ((3 b / kFalseAlarm)^(1 / (m - 1)) - 1), L the level, m = min(ordinates, 12), b ordinates
//           of the band. Infinite with fewer than two ordinates.
double least_significant_ordinate(const WaveNoise& noise);

// Purpose   the detection floor: the height, peak to valley, of a sinusoid that is found with a chance of at
//           least 95 % on a face of this noise.
// Shape     least_ordinate: what an ordinate must reach to count. least_gain: the smallest sum of squares
//           that a sinusoid of amplitude 1 um in the band explains, over its wavelength and phase, form taken
//           off and as the means of groups damp it. Units: um^2.
// Method    The ordinate of a wave of amplitude a beside noise is |a sqrt(gain) + n|^2, n normal with
//           variance L / 2 along the wave: it passes E when a sqrt(gain) >= sqrt(E) + 1.645 sqrt(L / 2) in 95
//           of 100 faces (1.645: normal quantile). The floor is 2 a. What n does across the wave, the
//           refinement of the frequency and the level, which leans towards the noisiest stretch of the
//           spectrum, only help: simulated, 97.7 % or more are found (WAVES.md, wave_floor_test).
double detection_floor_um(double least_ordinate, const WaveNoise& noise, double least_gain);

}  // namespace crestgate::analysis
