// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/lights/lights_output.h"

#include <algorithm>
#include <array>
#include <optional>
#include <string_view>
#include <utility>

namespace crestgate::driver {
namespace {

constexpr std::int64_t kHalfFlashMs = 500;  // 1 Hz
constexpr std::int64_t kHalfPulseMs = 100;  // 5 Hz

// Whether a train that began at `since`, lit, is lit now.
bool phase_is_lit(base::MonotonicInstant since, base::MonotonicInstant now, std::int64_t half_ms) {
  return (now - since) / (half_ms * base::kNsPerMs) % 2 == 0;
}

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

bool is_blank(std::string_view label) {
  return std::all_of(label.begin(), label.end(), [](char c) { return c == ' ' || c == '\t'; });
}

base::Outcome check_labels(std::span<const Light> lights) {
  for (std::size_t i = 0; i < lights.size(); ++i) {
    const std::string& label = lights[i].label;
    if (is_blank(label)) {
      return invalid("light " + std::to_string(i + 1) + " (" + std::string(name_of(lights[i].shows)) +
                     ") has no label: a colour alone says nothing to some people; give it a word");
    }
    for (std::size_t k = 0; k < i; ++k) {
      if (lights[k].label != label) continue;
      if (lights[k].shows == lights[i].shows) return invalid("two lights have the label '" + label + "'");
      return invalid("the label '" + label + "' would mean both " + std::string(name_of(lights[k].shows)) +
                     " and " + std::string(name_of(lights[i].shows)) + ": give each its own word");
    }
  }
  return base::Done{};
}

class LightsOutput final : public SignalOutput {
 public:
  LightsOutput(std::vector<Light> lights, std::unique_ptr<LightDevice> device, LightsOptions options,
               const base::Clock& clock)
      : lights_(std::move(lights)),
        device_(std::move(device)),
        options_(std::move(options)),
        clock_(clock),
        since_(lights_.size()) {}
  LightsOutput(const LightsOutput&) = delete;
  LightsOutput& operator=(const LightsOutput&) = delete;
  ~LightsOutput() override { LightsOutput::stop(); }

  [[nodiscard]] std::string_view name() const override { return options_.name; }

  [[nodiscard]] SelfFall falls_by_itself() const override {
    SelfFall fall = device_->falls_by_itself();
    if (!fall.falls && pulses_an_accept()) {
      return {true,
              "green is a train of pulses that stops with the measuring cycle: the watchdog relay drops it"};
    }
    return fall;
  }

  base::Result<Applied> apply(const base::CellSignal& signal) override {
    if (stopped_) return base::Error{base::ErrorCode::kCancelled, options_.name + ": stopped"};
    const base::MonotonicInstant now = clock_.monotonic();
    std::array<bool, kMostLights> lit{};
    for (std::size_t i = 0; i < lights_.size(); ++i) lit.at(i) = is_lit_now(i, signal, now);
    return show(lit);
  }

  void safe() override {
    if (stopped_) return;
    std::fill(since_.begin(), since_.end(), std::nullopt);
    // A device that does not take it says so again at the next apply(), which the cell hears.
    static_cast<void>(show({}));
  }

  void stop() override {
    if (std::exchange(stopped_, true)) return;
    static_cast<void>(show({}));  // stop() makes up for what this one cannot do
    device_->stop();
  }

 private:
  [[nodiscard]] bool pulses_an_accept() const {
    return options_.green == GreenCarried::kPulses &&
           std::any_of(lights_.begin(), lights_.end(),
                       [](const Light& light) { return light.shows == Shows::kAccept; });
  }

  bool is_lit_now(std::size_t index, const base::CellSignal& signal, base::MonotonicInstant now) {
    const Light& light = lights_[index];
    std::optional<base::MonotonicInstant>& since = since_[index];
    if (!is_lit(light.shows, signal)) {
      since.reset();
      return false;
    }
    if (!since) since = now;
    if (light.shows == Shows::kAccept && options_.green == GreenCarried::kPulses)
      return phase_is_lit(*since, now, kHalfPulseMs);
    return !light.flashing || phase_is_lit(*since, now, kHalfFlashMs);
  }

  base::Result<Applied> show(const std::array<bool, kMostLights>& lit) {
    auto applied = device_->set(std::span(lit).first(lights_.size()));
    if (applied) return applied;
    return base::Error{applied.error().code, options_.name + ": " + applied.error().detail};
  }

  std::vector<Light> lights_;
  std::unique_ptr<LightDevice> device_;
  LightsOptions options_;
  const base::Clock& clock_;
  std::vector<std::optional<base::MonotonicInstant>> since_;  // when each light began to be wanted
  bool stopped_ = false;
};

}  // namespace

base::Outcome check_lights(std::span<const Light> lights, const SelfFall& device, GreenCarried green) {
  if (lights.empty()) return invalid("no light is described: name at least one");
  if (lights.size() > kMostLights) {
    return invalid(std::to_string(lights.size()) + " lights are described; one device has " +
                   std::to_string(kMostLights) + " at most");
  }
  if (auto labels = check_labels(lights); !labels) return labels;
  for (const Light& light : lights) {
    if (light.shows != Shows::kAccept) continue;
    if (light.flashing) {
      return invalid("light '" + light.label +
                     "' shows an accept and may not flash: at a glance it would be taken for off, or for on");
    }
    if (!device.falls && green == GreenCarried::kSteady) {
      return invalid("light '" + light.label + "' shows an accept, but " + device.sentence +
                     ": put the guard in front of the device, or carry the green as pulses into a watchdog "
                     "relay, or take the accept off this device");
    }
  }
  return base::Done{};
}

base::Result<std::unique_ptr<SignalOutput>> make_lights_output(std::vector<Light> lights,
                                                               std::unique_ptr<LightDevice> device,
                                                               LightsOptions options,
                                                               const base::Clock& clock) {
  if (const auto checked = check_lights(lights, device->falls_by_itself(), options.green); !checked) {
    return base::Error{checked.error().code, options.name + ": " + checked.error().detail};
  }
  if (lights.size() != device->light_count()) {
    return invalid(options.name + ": " + std::to_string(lights.size()) + " lights are described, but " +
                   std::string(device->name()) + " has " + std::to_string(device->light_count()));
  }
  std::unique_ptr<SignalOutput> output =
      std::make_unique<LightsOutput>(std::move(lights), std::move(device), std::move(options), clock);
  output->safe();  // whatever a last run has left
  return output;
}

}  // namespace crestgate::driver
