// SPDX-License-Identifier: Apache-2.0
#include "analysis/texture/parameter_list.h"

#include <algorithm>
#include <array>
#include <string>
#include <utility>

namespace crestgate::analysis {
namespace {

using Numbers = const ProfileNumbers&;
using Family = ParameterFamily;

constexpr double kPercent = 100.0;
constexpr double kAreaPerMm = 1000.0;  // um with the ratio as a fraction -> um^2 per mm

std::optional<double> only_if(bool exists, double value) {
  return exists ? std::optional<double>(value) : std::nullopt;
}

// Symbols ISO 21920-2:2021, from memory; those of elements and features (sm.., c.., pd .. 10z) with less
// confidence.
constexpr std::array kProfileEntries = {
    ProfileEntry{"a", "um", Family::kHeights,
                 [](Numbers n) -> std::optional<double> { return n.heights.arithmetic_mean_um; }},
    ProfileEntry{"q", "um", Family::kHeights,
                 [](Numbers n) -> std::optional<double> { return n.heights.root_mean_square_um; }},
    ProfileEntry{"sk", "", Family::kHeights,
                 [](Numbers n) { return only_if(n.heights.has_shape, n.heights.skewness); }},
    ProfileEntry{"ku", "", Family::kHeights,
                 [](Numbers n) { return only_if(n.heights.has_shape, n.heights.kurtosis); }},
    ProfileEntry{"pt", "um", Family::kHeights,
                 [](Numbers n) -> std::optional<double> { return n.heights.highest_um; }},
    ProfileEntry{"vt", "um", Family::kHeights,
                 [](Numbers n) -> std::optional<double> { return -n.heights.lowest_um; }},
    ProfileEntry{
        "t", "um", Family::kHeights,
        [](Numbers n) -> std::optional<double> { return n.heights.highest_um - n.heights.lowest_um; }},
    ProfileEntry{"p", "um", Family::kSections,
                 [](Numbers n) -> std::optional<double> { return n.sections.mean_peak_um; },
                 SectionValue::kPeak},
    ProfileEntry{"v", "um", Family::kSections,
                 [](Numbers n) -> std::optional<double> { return n.sections.mean_pit_um; },
                 SectionValue::kPit},
    ProfileEntry{"z", "um", Family::kSections,
                 [](Numbers n) -> std::optional<double> { return n.sections.mean_height_um; },
                 SectionValue::kHeight},
    ProfileEntry{"zx", "um", Family::kSections,
                 [](Numbers n) -> std::optional<double> { return n.sections.largest_height_um; }},
    ProfileEntry{"al", "mm", Family::kSpatial,
                 [](Numbers n) {
                   return only_if(n.spatial.has_autocorrelation_length, n.spatial.autocorrelation_length_mm);
                 }},
    ProfileEntry{"sw", "mm", Family::kSpatial,
                 [](Numbers n) {
                   return only_if(n.spatial.has_dominant_wavelength, n.spatial.dominant_wavelength_mm);
                 }},
    ProfileEntry{"dq", "um/um", Family::kHybrid,
                 [](Numbers n) -> std::optional<double> { return n.hybrid.root_mean_square_gradient; }},
    ProfileEntry{"da", "um/um", Family::kHybrid,
                 [](Numbers n) -> std::optional<double> { return n.hybrid.arithmetic_mean_gradient; }},
    ProfileEntry{"dt", "um/um", Family::kHybrid,
                 [](Numbers n) -> std::optional<double> { return n.hybrid.largest_gradient; }},
    ProfileEntry{"dl", "mm", Family::kHybrid,
                 [](Numbers n) -> std::optional<double> { return n.hybrid.developed_length_mm; }},
    ProfileEntry{"dr", "%", Family::kHybrid,
                 [](Numbers n) -> std::optional<double> { return n.hybrid.developed_ratio_percent; }},
    ProfileEntry{"sm", "mm", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.mean_spacing_mm); }},
    ProfileEntry{"smx", "mm", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.largest_spacing_mm); }},
    ProfileEntry{"smq", "mm", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.spacing_deviation_mm); }},
    ProfileEntry{"c", "um", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.mean_height_um); }},
    ProfileEntry{"cx", "um", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.largest_height_um); }},
    ProfileEntry{"cq", "um", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.height_deviation_um); }},
    ProfileEntry{"pc", "1/cm", Family::kElements,
                 [](Numbers n) { return only_if(n.elements.has_elements, n.elements.peaks_per_cm); }},
    ProfileEntry{"pd", "1/mm", Family::kFeatures,
                 [](Numbers n) -> std::optional<double> { return n.features.peak_density_per_mm; }},
    ProfileEntry{"vd", "1/mm", Family::kFeatures,
                 [](Numbers n) -> std::optional<double> { return n.features.pit_density_per_mm; }},
    ProfileEntry{
        "mpc", "1/mm", Family::kFeatures,
        [](Numbers n) { return only_if(n.features.has_peak_curvature, n.features.peak_curvature_per_mm); }},
    ProfileEntry{
        "mvc", "1/mm", Family::kFeatures,
        [](Numbers n) { return only_if(n.features.has_pit_curvature, n.features.pit_curvature_per_mm); }},
    ProfileEntry{"5p", "um", Family::kFeatures,
                 [](Numbers n) { return only_if(n.features.has_five_peaks, n.features.five_peak_height_um); }},
    ProfileEntry{"5v", "um", Family::kFeatures,
                 [](Numbers n) { return only_if(n.features.has_five_pits, n.features.five_pit_depth_um); }},
    ProfileEntry{"10z", "um", Family::kFeatures,
                 [](Numbers n) {
                   return only_if(n.features.has_five_peaks && n.features.has_five_pits,
                                  n.features.ten_point_height_um);
                 }},
    ProfileEntry{"k", "um", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return n.core.core_um; }},
    ProfileEntry{"pk", "um", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return n.core.reduced_peak_um; }},
    ProfileEntry{"vk", "um", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return n.core.reduced_valley_um; }},
    ProfileEntry{"mrk1", "%", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return kPercent * n.core.upper_ratio; }},
    ProfileEntry{"mrk2", "%", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return kPercent * n.core.lower_ratio; }},
    ProfileEntry{"ak1", "um2/mm", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return kAreaPerMm * n.core.peak_area_um; }},
    ProfileEntry{"ak2", "um2/mm", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return kAreaPerMm * n.core.valley_area_um; }},
    ProfileEntry{"pkx", "um", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return n.core.peak_beyond_um; }},
    ProfileEntry{"vkx", "um", Family::kCurve,
                 [](Numbers n) -> std::optional<double> { return n.core.valley_beyond_um; }},
    ProfileEntry{"pq", "um", Family::kProbability,
                 [](Numbers n) {
                   return only_if(n.probability.has_two_processes, n.probability.plateau_deviation_um);
                 }},
    ProfileEntry{"vq", "um", Family::kProbability,
                 [](Numbers n) {
                   return only_if(n.probability.has_two_processes, n.probability.valley_deviation_um);
                 }},
    ProfileEntry{"mq", "%", Family::kProbability,
                 [](Numbers n) {
                   return only_if(n.probability.has_two_processes, kPercent * n.probability.transition_ratio);
                 }},
    ProfileEntry{"vmp", "um", Family::kVolumes,
                 [](Numbers n) -> std::optional<double> { return n.volumes.peak_material_um; }},
    ProfileEntry{"vmc", "um", Family::kVolumes,
                 [](Numbers n) -> std::optional<double> { return n.volumes.core_material_um; }},
    ProfileEntry{"vvc", "um", Family::kVolumes,
                 [](Numbers n) -> std::optional<double> { return n.volumes.core_void_um; }},
    ProfileEntry{"vvv", "um", Family::kVolumes,
                 [](Numbers n) -> std::optional<double> { return n.volumes.dale_void_um; }},
};

// Our own symbols, written out so that none can be taken for the standard's; see waves/WAVES.md.
constexpr std::array kWaveEntries = {
    WaveEntry{"WaveCount", "", [](const WaveFinding& f) -> std::optional<double> { return f.count; }},
    WaveEntry{"WaveSpacing", "mm", [](const WaveFinding& f) { return only_if(f.found, f.spacing_mm); }},
    // A wave up to the floor may hide, and the drive may have written as much as it writes on a flat.
    WaveEntry{"WaveHeight", "um", [](const WaveFinding& f) -> std::optional<double> { return f.height_um; },
              [](const WaveFinding& f) {
                return ValueRange{.least = std::max(0.0, f.height_um - f.drive_um),
                                  .most = std::max(f.height_um + f.drive_um, f.floor_um)};
              }},
    WaveEntry{"PrincipalWaveHeight", "um",
              [](const WaveFinding& f) { return only_if(f.found, f.principal_height_um); }},
    WaveEntry{"WaveFloor", "um", [](const WaveFinding& f) -> std::optional<double> { return f.floor_um; }},
};

constexpr std::array kFaceEntries = {
    // A skew may have added its term or taken it off.
    FaceEntry{"Crown", "um", [](const FaceFinding& f) -> std::optional<double> { return f.crown_um; },
              [](const FaceFinding& f) {
                return ValueRange{.least = f.crown_um - f.crown_skew_um,
                                  .most = f.crown_um + f.crown_skew_um};
              }},
    FaceEntry{"CrownSkew", "um",
              [](const FaceFinding& f) -> std::optional<double> { return f.crown_skew_um; }, nullptr, true},
    FaceEntry{"Taper", "um", [](const FaceFinding& f) -> std::optional<double> { return f.taper_um; }},
    FaceEntry{"EdgeDropStart", "um",
              [](const FaceFinding& f) { return only_if(f.has_edges, f.edge_drop_start_um); }},
    FaceEntry{"EdgeDropEnd", "um",
              [](const FaceFinding& f) { return only_if(f.has_edges, f.edge_drop_end_um); }},
    FaceEntry{"HighSpot", "um", [](const FaceFinding& f) -> std::optional<double> { return f.high_spot_um; }},
    FaceEntry{"HighSpotAt", "mm",
              [](const FaceFinding& f) -> std::optional<double> { return f.high_spot_mm; }},
};

// What every judgement records, whether limited or not: the numbers that people compare by.
bool is_routine(char profile, const ProfileEntry& entry) {
  if (profile == 'R') {
    return entry.family == Family::kHeights || entry.family == Family::kSections ||
           entry.family == Family::kCurve;
  }
  return entry.suffix == "a" || entry.suffix == "q" || entry.suffix == "t";
}

}  // namespace

std::vector<Parameter> parameter_list(const TextureSettings& settings) {
  std::vector<Parameter> list;
  for (const char profile : {'R', 'W', 'P'}) {
    for (const ProfileEntry& entry : kProfileEntries) {
      list.push_back({.name = {profile + std::string(entry.suffix), std::string(entry.unit)},
                      .profile = profile,
                      .of_profile = &entry,
                      .ratio = std::nullopt,
                      .routine = is_routine(profile, entry)});
    }
  }
  for (const RatioSymbol& ratio : settings.ratios) {
    list.push_back({.name = {symbol_of(ratio), std::string(unit_of(ratio))},
                    .profile = ratio.profile,
                    .ratio = ratio,
                    .routine = true});
  }
  if (settings.waves) {
    for (const WaveEntry& entry : kWaveEntries) {
      list.push_back({.name = {std::string(entry.symbol), std::string(entry.unit)},
                      .ratio = std::nullopt,
                      .of_waves = &entry,
                      .routine = true});
    }
  }
  if (settings.face) {
    for (const FaceEntry& entry : kFaceEntries) {
      list.push_back({.name = {std::string(entry.symbol), std::string(entry.unit)},
                      .ratio = std::nullopt,
                      .of_face = &entry,
                      .routine = true});
    }
  }
  return list;
}

std::optional<Parameter> find_parameter(std::string_view symbol) {
  TextureSettings everything;
  everything.waves = WaveBand{};
  everything.face = FaceFormSettings{};
  for (Parameter& parameter : parameter_list(everything)) {
    if (parameter.name.symbol == symbol) return std::move(parameter);
  }
  return std::nullopt;
}

}  // namespace crestgate::analysis
