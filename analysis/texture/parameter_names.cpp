// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/parameter_names.h"

#include <string_view>

#include "analysis/texture/number_text.h"

namespace crestgate::analysis {
std::string material_ratio_symbol(const MaterialRatioAt& at) {
  return "Rmr(" + shortest(at.reference_percent) + "%," + with_decimal(at.depth_um) + "um)";
}

std::vector<ParameterName> parameter_names(const TextureSettings& settings) {
  std::vector<ParameterName> names;
  const auto add = [&names](std::string symbol, std::string_view unit) {
    names.push_back({std::move(symbol), std::string(unit)});
  };
  for (const char* symbol : {"Ra", "Rq"}) add(symbol, "um");
  for (const char* symbol : {"Rsk", "Rku"}) add(symbol, "");
  for (const char* symbol : {"Rpt", "Rvt", "Rt", "Rp", "Rv", "Rz", "Rzx", "Rk", "Rpk", "Rvk"})
    add(symbol, "um");
  for (const char* symbol : {"Rmrk1", "Rmrk2"}) add(symbol, "%");
  for (const char* symbol : {"Rak1", "Rak2"}) add(symbol, "um2/mm");
  for (const char* symbol : {"Rpkx", "Rvkx"}) add(symbol, "um");
  for (const double height_um : settings.material_ratio_heights_um) {
    add("Rmr(" + with_decimal(height_um) + "um)", "%");
  }
  for (const MaterialRatioAt& at : settings.material_ratios) {
    add(material_ratio_symbol(at), "%");
  }
  for (const double percent : settings.material_ratio_percents) add("Rmc(" + shortest(percent) + "%)", "um");
  for (const HeightDifferenceBetween& between : settings.height_differences) {
    add("Rdc(" + shortest(between.upper_percent) + "%," + shortest(between.lower_percent) + "%)", "um");
  }
  for (const char* symbol : {"Wa", "Wq", "Wt", "Pa", "Pq", "Pt"}) add(symbol, "um");
  if (settings.waves) {
    add("WaveCount", "");
    add("WaveSpacing", "mm");
    add("WaveHeight", "um");
  }
  return names;
}

}  // namespace crestgate::analysis
