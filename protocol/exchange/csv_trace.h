// SPDX-License-Identifier: Apache-2.0
#pragma once
// A trace as comma-separated text: a header line that names columns and units, one row a sample, equal
// spacing.
//
//   x_mm,z_um
//   0.0000,0.125
//   0.0005,0.131
//
// x: x_mm, x_um, x_nm, x_m, x_in, x_mil, x_uin. z: z_um, z_nm, z_mm, z_m, z_in, z_mil, z_uin; any x with any
// z. Inches are exact: 1 in = 25.4 mm (international yard and pound agreement, 1959), 1 mil = 0.001 in, 1 uin
// = 1e-6 in. A height that is empty or "nan" was not measured or was over range. Other columns are refused.
// LF or CR LF; a byte order mark is skipped.

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace crestgate::protocol {

struct CsvTrace {
  double spacing_mm = 0.0;
  std::vector<double> heights_um;  // NaN where missing
};

// Errors  kMalformed, one printable line with source and line number: unknown column, not a number, a
//         number that is not finite in our units, a row too short or too long, unequal spacing (a sample
//         more than 5 % of the spacing away from its place), fewer than two samples.
base::Result<CsvTrace> parse_csv_trace(std::string_view text, const std::string& source);

// The same layout written: x_mm with as many digits as needed, z_um exact to the last bit.
std::string format_csv_trace(double spacing_mm, std::span<const double> heights_um);

}  // namespace crestgate::protocol
