// SPDX-License-Identifier: Apache-2.0
#pragma once
// Median of magnitudes, quickly found when it is about known.

#include <span>
#include <vector>

namespace crestgate::analysis {

// Purpose   the median of |value|; of an even number the mean of the middle two.
// Method    The magnitudes within a fifth of the guess are picked out and the others counted; only if the
//           median turns out to be elsewhere are all of them searched. The guess (of the last pass; 0: none,
//           then the median of every n-th value serves) changes the time, never the result.
// Shape     scratch grows to the number of values.
// Pre       at least one value, all finite.
double median_of_magnitudes(std::span<const double> values, double guess, std::vector<double>& scratch);

}  // namespace crestgate::analysis
