// SPDX-License-Identifier: Apache-2.0
#pragma once
// What a conforming finishing tool does to a face.

#include <optional>
#include <vector>

#include "simulator/surface/random.h"

namespace crestgate::simulator {

// The heights of a face in layers that add up. Kept apart because a tool conforms to long layers better than
// to short ones; separating them later would need a filter, and a filter is what these surfaces are to test.
struct FaceLayers {
  std::vector<double> form_um;                      // crown, arc, ramp, steps: any tool follows
  std::vector<double> waves_um;                     // millimetre waves: followed in part
  std::vector<double> texture_um;                   // ridges, chatter, test waveforms: never followed
  std::optional<double> plateau_um = std::nullopt;  // within texture_um, where the last tool stood
};

struct FinishOptions {
  double plateau_share = 0.0;  // 0 to 1
  double texture_um = 0.0;
  double texture_length_um = 0.0;
  double follow = 0.0;     // 0 to 1
  double deeper_um = 0.0;  // >= 0
};

// Purpose  takes away everything that stands above the tool; nothing is ever added.
// Method   The tool's working surface stands at  c + form + follow * waves + m(x), m its own fine marks. The
//          result is the lower of surface and tool, so that a place is either untouched (bit for bit within
//          rounding) or carries the tool's marks: the two-process surface of plateau honing and its kin. c is
//          the height at which the share of touched places is `plateau_share`: a tool pressed with a given
//          load sinks until the area that carries it is large enough. A tool that follows little cuts more
//          from wave crests than from troughs, which lowers the waves and makes the plateau uneven: as on the
//          machine. Then it goes `deeper_um` further: deeper than the valleys, nothing but its marks is left.
// Pre      equal sizes, shares within 0 to 1.
void finish(FaceLayers& face, double grid_um, const FinishOptions& options, RandomStream& random);

}  // namespace crestgate::simulator
