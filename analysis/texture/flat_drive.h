// SPDX-License-Identifier: Apache-2.0
#pragma once
// The waves that the drive itself writes, measured on a reference flat.

#include <span>

#include "analysis/texture/evaluation_layout.h"
#include "analysis/texture/texture_settings.h"
#include "analysis/waves/drive_waves.h"
#include "base/result.h"

namespace crestgate::analysis {

// Purpose   find_drive_waves with the S-filter and the form that the waves of a part are sought with.
// Shape     flat_um: at least one face of samples, all measured.
// Pre       settings passed check_settings and have a band of waves.
// Errors    kNoData: a sample is missing. kOutOfRange: the flat is sampled otherwise than the face. Else
//           those of the search.
base::Result<DriveWaves> drive_waves_on_flat(const TextureSettings& settings, const TraceShape& face,
                                             std::span<const double> flat_um, double flat_spacing_mm);

}  // namespace crestgate::analysis
