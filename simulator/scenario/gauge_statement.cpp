// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/gauge_statement.h"

#include <array>
#include <cmath>
#include <cstdint>
#include <limits>

namespace crestgate::simulator {

namespace {

// A value in the statement's unit becomes a whole number of the wire's unit, `factor` to one.
base::Outcome scaled_into(Words& words, const Limits& limits, double factor, std::uint32_t& target) {
  const auto value = words.number(limits);
  if (!value) return value.error();
  target = static_cast<std::uint32_t>(std::llround(*value * factor));
  return base::Done{};
}

base::Outcome varied_into(Words& words, const Limits& limits, Varied& target) {
  const auto value = words.varied(limits);
  if (!value) return value.error();
  target = *value;
  return base::Done{};
}

base::Outcome tip(Words& words, Scenario& scenario) {
  const auto radius = words.number({0.0, 1000.0});
  if (!radius) return radius.error();
  scenario.stylus.tip.radius_um = *radius;
  scenario.gauge.tip_radius_nm = static_cast<std::uint32_t>(std::llround(1000.0 * *radius));
  return base::Done{};
}

base::Outcome range(Words& words, Scenario& scenario) {
  const auto range = words.number({1.0, 4'000'000.0});
  if (!range) return range.error();
  scenario.stylus.range_um = *range;
  scenario.gauge.range_nm = static_cast<std::uint32_t>(std::llround(1000.0 * *range));
  return base::Done{};
}

base::Outcome step(Words& words, Scenario& scenario) {
  if (auto read = scaled_into(words, {0.001, 1000.0}, 1000.0, scenario.stylus.step_pm); !read) return read;
  scenario.gauge.height_step_pm = scenario.stylus.step_pm;
  return base::Done{};
}

base::Outcome baud(Words& words, Scenario& scenario) {
  if (words.peek() == "unlimited") {
    scenario.line.baud.reset();
    static_cast<void>(words.word("unlimited"));
    return base::Done{};
  }
  const auto rate = words.number({300.0, 100'000'000.0});
  if (!rate) return words.expected("'unlimited' or a number within 300 to 100000000");
  scenario.line.baud = static_cast<std::uint32_t>(std::llround(*rate));
  return base::Done{};
}

base::Outcome boot(Words& words, Scenario& scenario) {
  const auto number = words.whole_number(std::numeric_limits<std::uint64_t>::max());
  if (!number) return number.error();
  scenario.boot = *number;
  return base::Done{};
}

base::Outcome gauge_property(Words& words, Scenario& scenario) {
  constexpr std::array<std::string_view, 19> kProperties = {"serial",
                                                            "model",
                                                            "firmware",
                                                            "tip_um",
                                                            "cone_half_angle_deg",
                                                            "noise_um",
                                                            "gain",
                                                            "drift_um_per_s",
                                                            "range_um",
                                                            "step_nm",
                                                            "tilt_um_per_mm",
                                                            "shift_mm",
                                                            "smallest_spacing_um",
                                                            "longest_mm",
                                                            "slowest_mm_per_s",
                                                            "fastest_mm_per_s",
                                                            "speed_scale",
                                                            "baud",
                                                            "boot"};
  const auto index = words.one_of(kProperties);
  if (!index) return index.error();
  GaugeTraits& gauge = scenario.gauge;
  StylusTraits& stylus = scenario.stylus;
  switch (*index) {
    case 0:
      return words.name_into(gauge.serial_number);
    case 1:
      return words.name_into(gauge.model);
    case 2:
      return words.name_into(gauge.firmware);
    case 3:
      return tip(words, scenario);
    case 4:
      return words.number_into({0.0, 80.0}, stylus.tip.cone_half_angle_deg);
    case 5:
      return words.number_into({0.0, 10.0}, stylus.noise_um);
    case 6:
      return words.number_into({0.1, 10.0}, stylus.gain);
    case 7:
      return words.number_into({-100.0, 100.0}, stylus.drift_um_per_s);
    case 8:
      return range(words, scenario);
    case 9:
      return step(words, scenario);
    case 10:
      return varied_into(words, {-100.0, 100.0}, scenario.tilt_um_per_mm);
    case 11:
      return varied_into(words, {-100.0, 100.0}, scenario.shift_mm);
    case 12:
      return scaled_into(words, {0.001, 100.0}, 1000.0, gauge.smallest_spacing_nm);
    case 13:
      return scaled_into(words, {0.1, 500.0}, 1000.0, gauge.longest_traverse_um);
    case 14:
      return scaled_into(words, {0.001, 100.0}, 1000.0, gauge.slowest_um_per_s);
    case 15:
      return scaled_into(words, {0.001, 100.0}, 1000.0, gauge.fastest_um_per_s);
    case 16:
      return words.number_into({0.01, 10'000.0}, gauge.speed_scale);
    case 17:
      return baud(words, scenario);
    default:
      return boot(words, scenario);
  }
}

}  // namespace

base::Outcome parse_gauge(Words& words, Scenario& scenario) {
  if (words.at_end()) return words.expected("a property of the gauge");
  while (!words.at_end()) {
    if (auto read = gauge_property(words, scenario); !read) return read;
  }
  return base::Done{};
}

}  // namespace crestgate::simulator
