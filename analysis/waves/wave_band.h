// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which waves are looked for.

namespace crestgate::analysis {

// Wavelengths that count as waves of a short face. Independent of lambda_c.
struct WaveBand {
  double shortest_mm = 0.8;
  double longest_mm = 8.0;
  double drive_um =
      0.0;  // waves that the drive itself writes in this band, from a reference flat; 0: not known
  friend bool operator==(const WaveBand&, const WaveBand&) = default;
};

}  // namespace crestgate::analysis
