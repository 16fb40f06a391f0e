// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the pages for the cabinet have in common: one self-contained HTML file, black on white, for A4 and US Letter.

#include <string>
#include <string_view>

namespace crestgate::report {

struct PageStamp {
  std::string software_version;
};

enum class Orientation : unsigned char { kPortrait, kLandscape };

struct PageFrame {
  std::string_view title;
  Orientation orientation = Orientation::kPortrait;
  std::string_view style;  // rules of this page alone, after the common ones
};

// Shape    a whole document: no script, nothing fetched, no paper size but the printer's.
std::string framed(const PageFrame& frame, std::string_view body);

// The first lines of a page: what it is, of which cell, from which version, and a place to sign.
std::string page_head(std::string_view heading, std::string_view cell_name, const PageStamp& stamp);

// The words that stand on every page that speaks of lights.
std::string caution();

}  // namespace crestgate::report
