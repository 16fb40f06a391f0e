// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/drive_waves.h"

#include <algorithm>
#include <string>

namespace crestgate::analysis {

base::Result<DriveWaves> find_drive_waves(const WaveSearch& search, std::span<const double> flat_um,
                                          WaveWorkspace& workspace) {
  const std::size_t face = search.sample_count();
  if (flat_um.size() < face) {
    return base::Error{base::ErrorCode::kTooShort, "the trace on the flat must hold a whole face of " +
                                                       std::to_string(face) + " samples, found " +
                                                       std::to_string(flat_um.size())};
  }
  DriveWaves drive;
  const std::size_t last = flat_um.size() - face;
  for (std::size_t first = 0;;) {
    const auto found = search.find(flat_um.subspan(first, face), workspace);
    if (!found) return found.error();
    drive.drive_um = std::max(drive.drive_um, found->height_um);
    drive.floor_um = std::max(drive.floor_um, found->floor_um);
    if (first == last) return drive;
    first = std::min(first + face, last);
  }
}

void hold_against_drive(const DriveWaves& drive, WaveFinding& finding) {
  finding.drive_um = drive.drive_um;
  finding.below_drive = finding.found && finding.height_um <= drive.drive_um;
}

}  // namespace crestgate::analysis
