// SPDX-License-Identifier: Apache-2.0
#pragma once
// Scratch memory of the profile filters.

#include <vector>

#include "analysis/filters/real_fft.h"

namespace crestgate::analysis {

// Of a Gaussian regression: values at the nodes of its coarse grid, and what its last pass found there.
struct RegressionWorkspace {
  std::vector<double> weighted;     // weight times (height - offset), per sample
  std::vector<double> nodes;        // a signal gathered at the nodes
  std::vector<double> weight_sums;  // M0 .. M(2p) at the nodes, one after the other
  std::vector<double> height_sums;  // T0 .. Tp
  std::vector<double> node_lines;   // the mean line at the nodes
  std::vector<double> magnitudes;   // of the residuals, for the median
  std::vector<double> residuals;    // per sample
  std::vector<double> weights;      // per sample
  double offset = 0.0;              // mean height, taken off for accuracy
  double biweight_c = 0.0;          // of a robust filter's last pass: farther off than this has no weight
};

// Grows at the first use with a shape, then stays. One per thread; any filter may use it after any other.
struct FilterWorkspace {
  std::vector<double> padded;
  std::vector<Complex> pairs;
  std::vector<Complex> spectrum;
  std::vector<Complex> product;
  std::vector<double> clipped;
  RegressionWorkspace regression;
};

}  // namespace crestgate::analysis
