// SPDX-License-Identifier: Apache-2.0
#pragma once
// Is the strongest line of a spectrum more than noise?

#include <cstddef>

namespace crestgate::analysis {

// Purpose   P(g > x) for white Gaussian noise, g = largest of `ordinates` periodogram ordinates over their
//           sum.
// Pre       0 < share <= 1, ordinates >= 1.
// Method    sum over k >= 1, k x < 1, of (-1)^(k-1) C(m, k) (1 - k x)^(m - 1); m up to about 100 before the
//           alternating sum loses its digits, capped to 0 .. 1.
// Source    R. A. Fisher, "Tests of significance in harmonic analysis", Proc. R. Soc. A 125 (1929), 54-59 -
//           from memory.
double fisher_probability(double share, std::size_t ordinates);

// Purpose   the chance that noise alone gives `share` somewhere, when `places` frequencies were looked at.
// Method    places * (1 - share)^(m - 1): the first term of Fisher's sum, an upper bound, with the places
//           searched in place of the ordinates; at most 1.
double false_alarm_bound(double share, std::size_t ordinates, double places);

}  // namespace crestgate::analysis
