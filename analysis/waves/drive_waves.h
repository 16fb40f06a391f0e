// SPDX-License-Identifier: Apache-2.0
#pragma once
// The waves that the drive of the gauge writes by itself.

#include <span>

#include "analysis/waves/wave_search.h"

namespace crestgate::analysis {

struct DriveWaves {
  double drive_um = 0.0;  // height of the waves of the band, the largest of all faces laid on the flat
  double floor_um = 0.0;  // drive waves up to this height may be there unseen
};

// Purpose   what the drive alone writes in the band of a search: the same search, run on a reference flat.
// Shape     flat_um: smoothed by the same S-filter, at the search's spacing, at least one face of samples. Of
//           a longer trace, faces laid end to end, and one at its end; the largest counts.
// Errors    kTooShort: the trace is shorter than the face. Else those of the search.
base::Result<DriveWaves> find_drive_waves(const WaveSearch& search, std::span<const double> flat_um,
                                          WaveWorkspace& workspace);

// Purpose   says in the finding of a part whether its waves may be the drive's.
void hold_against_drive(const DriveWaves& drive, WaveFinding& finding);

}  // namespace crestgate::analysis
