// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/surface_statement.h"

#include <array>
#include <optional>
#include <vector>

#include "simulator/surface/ridges.h"

namespace crestgate::simulator {

namespace {

// Wider than any surface of this trade; they catch a slip of the unit.
constexpr Limits kHeightUm{0.0, 1000.0};
constexpr Limits kSignedHeightUm{-1000.0, 1000.0};
constexpr Limits kLengthUm{0.0, 10'000.0};
constexpr Limits kLengthMm{0.001, 1000.0};
constexpr Limits kPlaceMm{-1000.0, 1000.0};
constexpr Limits kPhaseDeg{-360.0, 360.0};
constexpr Limits kRadiusMm{-100'000.0, 100'000.0};
constexpr Limits kPercent{0.0, 100.0};
constexpr Limits kCountPerMm{0.0, 1000.0};
constexpr Limits kWaveCount{0.0, 10'000.0};

Varied value_of(const KeyValues& values, std::string_view name, double otherwise = 0.0) {
  const auto found = values.find(name);
  return found != values.end() ? found->second : Varied{.mean = otherwise, .deviation = 0.0};
}

ProcessStep make_waveform(WaveShape shape, const KeyValues& v) {
  return Waveform{.shape = shape,
                  .amplitude_um = value_of(v, "amplitude_um"),
                  .wavelength_mm = value_of(v, "wavelength_mm"),
                  .phase_deg = value_of(v, "phase_deg")};
}

std::optional<Varied> value_if_given(const KeyValues& values, std::string_view name) {
  const auto found = values.find(name);
  return found != values.end() ? std::optional(found->second) : std::nullopt;
}

Waves make_waves(const KeyValues& v) {
  return {.count = value_of(v, "count"),
          .height_um = value_of(v, "height_um"),
          .phase_deg = value_if_given(v, "phase_deg")};
}

// Marks of a fine abrasive are a few micrometres wide.
Finish make_finish(const KeyValues& v, double follow) {
  return {.plateau_percent = value_of(v, "plateau_percent"),
          .texture_um = value_of(v, "texture_um", 0.0),
          .texture_length_um = value_of(v, "texture_length_um", 4.0),
          .follow = value_of(v, "follow", follow),
          .deeper_um = value_of(v, "deeper_um", 0.0)};
}

struct StepRule {
  std::string_view name;
  std::vector<Key> keys;
  ProcessStep (*make)(const KeyValues&);
};

std::vector<Key> waveform_keys() {
  return {
      {"amplitude_um", true, kHeightUm}, {"wavelength_mm", true, kLengthMm}, {"phase_deg", false, kPhaseDeg}};
}

std::vector<StepRule> process_rules() {
  return {
      {"ridges",
       {{"rq_um", true, kHeightUm},
        {"correlation_um", true, kLengthUm},
        {"skew", false, {-kLargestSkew, kLargestSkew}}},
       [](const KeyValues& v) -> ProcessStep {
         return Ridges{.rq_um = value_of(v, "rq_um"),
                       .correlation_um = value_of(v, "correlation_um"),
                       .skew = value_of(v, "skew")};
       }},
      {"waves",
       {{"count", true, kWaveCount}, {"height_um", true, kHeightUm}, {"phase_deg", false, kPhaseDeg}},
       [](const KeyValues& v) -> ProcessStep { return make_waves(v); }},
      {"chatter",
       {{"wavelength_mm", true, kLengthMm}, {"height_um", true, kHeightUm}},
       [](const KeyValues& v) -> ProcessStep {
         return Chatter{.wavelength_mm = value_of(v, "wavelength_mm"), .height_um = value_of(v, "height_um")};
       }},
      {"crown",
       {{"drop_um", true, kSignedHeightUm}},
       [](const KeyValues& v) -> ProcessStep { return Crown{.drop_um = value_of(v, "drop_um")}; }},
      {"finish",
       {{"plateau_percent", true, kPercent},
        {"texture_um", false, kHeightUm},
        {"texture_length_um", false, kLengthUm},
        {"follow", false, {0.0, 1.0}},
        {"deeper_um", false, kHeightUm}},
       // A conforming tool follows a good part of a wave.
       [](const KeyValues& v) -> ProcessStep { return make_finish(v, 0.5); }},
      {"belt",
       {{"plateau_percent", true, kPercent},
        {"count", true, kWaveCount},
        {"height_um", true, kHeightUm},
        {"phase_deg", false, kPhaseDeg},
        {"texture_um", false, kHeightUm},
        {"texture_length_um", false, kLengthUm},
        {"follow", false, {0.0, 1.0}}},
       [](const KeyValues& v) -> ProcessStep {
         return Belt{.finish = make_finish(v, 0.9), .waves = make_waves(v)};
       }},
  };
}

std::vector<StepRule> damage_rules() {
  return {
      {"craters",
       {{"depth_um", true, kHeightUm},
        {"diameter_um", true, {1.0, 10'000.0}},
        {"count_per_mm", true, kCountPerMm},
        {"rim_percent", true, kPercent},
        {"rim_width_um", false, {0.1, 10'000.0}},
        {"scatter_percent", false, kPercent}},
       [](const KeyValues& v) -> ProcessStep {
         return Craters{.depth_um = value_of(v, "depth_um"),
                        .diameter_um = value_of(v, "diameter_um"),
                        .count_per_mm = value_of(v, "count_per_mm"),
                        .rim_percent = value_of(v, "rim_percent"),
                        .rim_width_um = value_if_given(v, "rim_width_um"),
                        .scatter_percent = value_of(v, "scatter_percent", 15.0)};
       }},
      {"particles",
       {{"height_um", true, kHeightUm},
        {"width_um", true, kLengthUm},
        {"count_per_mm", true, kCountPerMm},
        {"flat_percent", false, kPercent},
        {"scatter_percent", false, kPercent}},
       [](const KeyValues& v) -> ProcessStep {
         return Particles{.height_um = value_of(v, "height_um"),
                          .width_um = value_of(v, "width_um"),
                          .count_per_mm = value_of(v, "count_per_mm"),
                          .flat_percent = value_of(v, "flat_percent", 60.0),
                          .scatter_percent = value_of(v, "scatter_percent", 20.0)};
       }},
      {"torn",
       {{"count_per_mm", true, kCountPerMm},
        {"width_um", true, kLengthUm},
        {"depth_um", true, kHeightUm},
        {"burr_um", true, kHeightUm},
        {"burr_width_um", false, kLengthUm}},
       [](const KeyValues& v) -> ProcessStep {
         return Torn{.count_per_mm = value_of(v, "count_per_mm"),
                     .width_um = value_of(v, "width_um"),
                     .depth_um = value_of(v, "depth_um"),
                     .burr_um = value_of(v, "burr_um"),
                     .burr_width_um = value_if_given(v, "burr_width_um")};
       }},
  };
}

std::vector<StepRule> form_rules() {
  return {
      {"sine", waveform_keys(), [](const KeyValues& v) { return make_waveform(WaveShape::kSine, v); }},
      {"triangle", waveform_keys(),
       [](const KeyValues& v) { return make_waveform(WaveShape::kTriangle, v); }},
      {"square", waveform_keys(), [](const KeyValues& v) { return make_waveform(WaveShape::kSquare, v); }},
      {"sawtooth", waveform_keys(),
       [](const KeyValues& v) { return make_waveform(WaveShape::kSawtooth, v); }},
      {"step",
       {{"height_um", true, kSignedHeightUm}, {"at_mm", false, kPlaceMm}},
       [](const KeyValues& v) -> ProcessStep {
         return StepUp{.height_um = value_of(v, "height_um"), .at_mm = value_of(v, "at_mm")};
       }},
      {"ramp",
       {{"slope_um_per_mm", true, kSignedHeightUm}},
       [](const KeyValues& v) -> ProcessStep {
         return Ramp{.slope_um_per_mm = value_of(v, "slope_um_per_mm")};
       }},
      {"arc",
       {{"radius_mm", true, kRadiusMm}},
       [](const KeyValues& v) -> ProcessStep { return Arc{.radius_mm = value_of(v, "radius_mm")}; }},
      {"groove",
       {{"depth_um", true, kHeightUm}, {"flank_deg", true, {0.1, 89.0}}, {"at_mm", false, kPlaceMm}},
       [](const KeyValues& v) -> ProcessStep {
         return Groove{.depth_um = value_of(v, "depth_um"),
                       .flank_deg = value_of(v, "flank_deg"),
                       .at_mm = value_of(v, "at_mm")};
       }},
      {"flat",
       {{"height_um", false, kSignedHeightUm}},
       [](const KeyValues& v) -> ProcessStep { return Flat{.height_um = value_of(v, "height_um")}; }},
  };
}

}  // namespace

base::Result<ProcessStep> parse_step(Words& words) {
  std::vector<StepRule> rules = process_rules();
  for (StepRule& rule : damage_rules()) rules.push_back(std::move(rule));
  for (StepRule& rule : form_rules()) rules.push_back(std::move(rule));
  std::vector<std::string_view> names;
  names.reserve(rules.size());
  for (const StepRule& rule : rules) names.push_back(rule.name);
  const auto index = words.one_of(names);
  if (!index) return index.error();
  const StepRule& rule = rules[*index];
  const auto values = words.keys(std::string(rule.name), rule.keys);
  if (!values) return values.error();
  return rule.make(*values);
}

}  // namespace crestgate::simulator
