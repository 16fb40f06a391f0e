// SPDX-License-Identifier: Apache-2.0
#pragma once
// Mean and spread of a set of numbers.

#include <span>

namespace crestgate::analysis {

// Pre       at least one value, all finite.
// Method    mean of the values, then corrected by the mean of the deviations from it: the rounding of the
//           first sum is removed.
double mean_of(std::span<const double> values);

// Purpose   standard deviation with divisor n - 1.
// Pre       at least two values, all finite.
// Method    two passes, the second corrected for the rounding of the mean.
// Source    T. F. Chan, G. H. Golub, R. J. LeVeque, "Algorithms for computing the sample variance: analysis
//           and recommendations", The American Statistician 37 (1983), 242-247.
double standard_deviation_of(std::span<const double> values);

// Pre       at least one value, all finite. Reorders the values.
double median_of(std::span<double> values);

}  // namespace crestgate::analysis
