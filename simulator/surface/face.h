// SPDX-License-Identifier: Apache-2.0
#pragma once
// The surface of one zone of one part, on a fine grid along the face.

#include <cstdint>
#include <vector>

#include "simulator/surface/recipe.h"

namespace crestgate::simulator {

// Equally spaced heights; the first stands at first_mm, positions count from the middle of the face.
struct Face {
  double grid_um = 0.25;
  double first_mm = 0.0;
  std::vector<double> heights_um;

  [[nodiscard]] double last_mm() const {
    return first_mm + 1e-3 * grid_um * static_cast<double>(heights_um.size() - 1);
  }
};

struct FaceOptions {
  double width_mm = 0.0;
  double grid_um = 0.25;
  std::uint64_t seed = 0;  // of this part and zone: the same part before and after a stage has the same one
};

// Purpose  lets the steps of a recipe happen one after the other.
// Method   Step k draws its parameters and its texture from seeds derived from (seed, k) alone, so that a
//          recipe that goes on from another one finds the same incoming surface.
// Pre      width_mm > 0, grid_um > 0.
Face make_face(const SurfaceRecipe& recipe, const FaceOptions& options);

}  // namespace crestgate::simulator
