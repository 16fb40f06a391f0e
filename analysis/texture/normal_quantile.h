// SPDX-License-Identifier: Apache-2.0
#pragma once
// The inverse of the normal distribution function.

namespace crestgate::analysis {

// Purpose   x with Phi(x) = probability, standard normal.
// Pre       0 < probability < 1.
// Accuracy  about 1e-15 relative.
// Source    M. J. Wichura, "Algorithm AS 241: the percentage points of the normal distribution", Applied
//           Statistics 37 (1988), 477-484, routine PPND16.
double normal_quantile(double probability);

}  // namespace crestgate::analysis
