// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/gpio/gpio_lights.h"

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <chrono>
#include <optional>
#include <set>
#include <string_view>
#include <system_error>
#include <utility>

#include <gpiod.h>

namespace crestgate::driver {
namespace {

using SteadyClock = std::chrono::steady_clock;

constexpr const char* kConsumer = "crestgate";
constexpr std::chrono::seconds kDarkAfterError{1};

struct CloseChip {
  void operator()(gpiod_chip* chip) const { ::gpiod_chip_close(chip); }  // releases its lines as well
};
using Chip = std::unique_ptr<gpiod_chip, CloseChip>;

std::string errno_text(int number) { return std::system_category().message(number); }

base::Error invalid(std::string detail) { return {base::ErrorCode::kInvalidConfig, std::move(detail)}; }

base::Error chip_error(const std::string& chip, int number) {
  switch (number) {
    case ENOENT:
    case ENODEV:
    case ENXIO:
      return {base::ErrorCode::kNotFound, "there is no GPIO chip '" + chip + "'"};
    case ENOTTY:
    case ENOTDIR:
      return invalid("'" + chip + "' is not a GPIO chip");
    case EACCES:
    case EPERM:
      return {base::ErrorCode::kRefused, "no permission to open GPIO chip '" + chip +
                                             "'; the account must be in the group that owns it"};
    default:
      return {base::ErrorCode::kIo, "cannot open GPIO chip '" + chip + "' (" + errno_text(number) + ")"};
  }
}

base::Result<Chip> open_chip(const std::string& name) {
  errno = 0;
  Chip chip;
  if (name.starts_with('/')) {
    chip.reset(::gpiod_chip_open(name.c_str()));
  } else {
    chip.reset(::gpiod_chip_open_by_name(name.c_str()));
    if (!chip && (errno == ENOENT || errno == ENOTTY)) chip.reset(::gpiod_chip_open_by_label(name.c_str()));
  }
  if (!chip) return chip_error(name, errno);
  return chip;
}

std::optional<unsigned> as_number(const std::string& text) {
  unsigned number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return number;
}

base::Result<gpiod_line*> find_line(gpiod_chip* chip, const std::string& wanted) {
  const unsigned count = ::gpiod_chip_num_lines(chip);
  const std::string on_chip = " on GPIO chip '" + std::string(::gpiod_chip_name(chip)) + "'";
  gpiod_line* found = nullptr;
  if (const auto number = as_number(wanted)) {
    if (*number >= count) {
      return base::Error{base::ErrorCode::kNotFound, "there is no line " + wanted + on_chip +
                                                         ": it has lines 0 to " + std::to_string(count - 1)};
    }
    found = ::gpiod_chip_get_line(chip, *number);
    if (found == nullptr) return chip_error(::gpiod_chip_name(chip), errno);
    return found;
  }
  int matches = 0;
  for (unsigned offset = 0; offset < count; ++offset) {
    gpiod_line* line = ::gpiod_chip_get_line(chip, offset);
    if (line == nullptr) return chip_error(::gpiod_chip_name(chip), errno);
    const char* name = ::gpiod_line_name(line);
    if (name == nullptr || name != wanted) continue;
    ++matches;
    found = line;
  }
  if (matches > 1) return invalid("two lines have the name '" + wanted + "'" + on_chip + ": use the number");
  if (found == nullptr)
    return base::Error{base::ErrorCode::kNotFound, "there is no line '" + wanted + "'" + on_chip};
  return found;
}

int flags_of(const GpioLine& line, LineBias bias) {
  int flags = line.active_low ? GPIOD_LINE_REQUEST_FLAG_ACTIVE_LOW : 0;
  if (bias == LineBias::kDisable) flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_DISABLE;
  if (bias == LineBias::kPullUp) flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_UP;
  if (bias == LineBias::kPullDown) flags |= GPIOD_LINE_REQUEST_FLAG_BIAS_PULL_DOWN;
  return flags;
}

base::Error request_error(gpiod_line* line, const std::string& name, int number) {
  switch (number) {
    case EBUSY: {
      const char* user = ::gpiod_line_consumer(line);
      return {base::ErrorCode::kBusy, "line '" + name + "' is in use" +
                                          (user == nullptr ? "" : " by '" + std::string(user) + "'") +
                                          ": a line belongs to one program"};
    }
    case EACCES:
    case EPERM:
      return {base::ErrorCode::kRefused, "no permission to take line '" + name + "'"};
    default:
      return {base::ErrorCode::kIo, "cannot take line '" + name + "' (" + errno_text(number) + ")"};
  }
}

class GpioLights final : public LightDevice {
 public:
  explicit GpioLights(GpioLightsOptions options)
      : options_(std::move(options)), name_("digital lines of " + options_.chip) {}
  GpioLights(const GpioLights&) = delete;
  GpioLights& operator=(const GpioLights&) = delete;
  ~GpioLights() override { GpioLights::stop(); }

  [[nodiscard]] std::string_view name() const override { return name_; }
  [[nodiscard]] std::size_t light_count() const override { return options_.lines.size(); }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    return {false,
            "the kernel promises nothing about a released line: it may stay lit when the process dies"};
  }

  base::Result<Applied> set(std::span<const bool> lit) override {
    if (stopped_) return base::Error{base::ErrorCode::kCancelled, name_ + ": stopped"};
    if (lines_.empty()) {
      if (auto opened = open(); !opened) return opened.error();
    }
    const bool dark = trouble_ && SteadyClock::now() < dark_until_;
    const std::array<bool, kMostLights> nothing{};
    const std::span<const bool> shown = dark ? std::span(nothing).first(lit.size()) : lit;
    if (auto failure = switch_to(shown)) {
      give_up();
      trouble_ = std::move(failure);
      return *trouble_;
    }
    if (dark) return *trouble_;
    trouble_.reset();
    return Applied::kConfirmed;
  }

  void stop() override {
    if (std::exchange(stopped_, true)) return;
    give_up();
    if (owes_off_ && open()) give_up();
  }

 private:
  // Every line off before it is ours, so that opening is a way of switching off.
  base::Outcome open() {
    auto chip = open_chip(options_.chip);
    if (!chip) return chip.error();
    std::vector<gpiod_line*> lines;
    for (const GpioLine& wanted : options_.lines) {
      const auto line = find_line(chip->get(), wanted.line);
      if (!line) return line.error();
      if (std::find(lines.begin(), lines.end(), *line) != lines.end())
        return invalid("two lights are on line '" + wanted.line + "'");
      lines.push_back(*line);
    }
    for (std::size_t i = 0; i < lines.size(); ++i) {
      const int flags = flags_of(options_.lines[i], options_.bias);
      if (::gpiod_line_request_output_flags(lines[i], kConsumer, flags, 0) != 0)
        return request_error(lines[i], options_.lines[i].line, errno);
    }
    chip_ = *std::move(chip);
    lines_ = std::move(lines);
    lit_ = {};
    owes_off_ = false;
    return base::Done{};
  }

  // Off before on, then looks whether it is so. Nothing: all is as told.
  std::optional<base::Error> switch_to(std::span<const bool> lit) {
    for (const bool on : {false, true}) {
      for (std::size_t i = 0; i < lines_.size(); ++i) {
        if (lit[i] != on || lit_.at(i) == on) continue;
        if (::gpiod_line_set_value(lines_[i], on ? 1 : 0) != 0)
          return line_error(i, "cannot be switched", errno);
        lit_.at(i) = on;
      }
    }
    for (std::size_t i = 0; i < lines_.size(); ++i) {
      const int found = ::gpiod_line_get_value(lines_[i]);
      if (found < 0) return line_error(i, "cannot be read back", errno);
      if ((found != 0) == lit[i]) continue;
      return base::Error{base::ErrorCode::kIo, "line '" + options_.lines[i].line + "' was switched " +
                                                   (lit[i] ? "on" : "off") + " but reads " +
                                                   (lit[i] ? "off" : "on") + ": look at its wiring"};
    }
    return std::nullopt;
  }

  [[nodiscard]] base::Error line_error(std::size_t index, const char* what, int number) const {
    return {base::ErrorCode::kIo,
            "line '" + options_.lines[index].line + "' " + what + " (" + errno_text(number) + ")"};
  }

  void give_up() {
    // Each is tried whatever became of the others; what fails here is made up for by opening.
    for (gpiod_line* line : lines_) owes_off_ = ::gpiod_line_set_value(line, 0) != 0 || owes_off_;
    lines_.clear();
    chip_.reset();
    dark_until_ = SteadyClock::now() + kDarkAfterError;
  }

  GpioLightsOptions options_;
  std::string name_;
  Chip chip_;
  std::vector<gpiod_line*> lines_;  // empty: not open; they belong to the chip
  std::array<bool, kMostLights> lit_{};
  std::optional<base::Error> trouble_;  // the last one, shown for as long as nothing may be lit
  SteadyClock::time_point dark_until_;
  bool owes_off_ = false;  // a line could not be switched off before it was released
  bool stopped_ = false;
};

}  // namespace

base::Outcome check_gpio_lights(const GpioLightsOptions& options) {
  if (options.chip.empty()) return invalid("no GPIO chip is named");
  if (options.lines.empty() || options.lines.size() > kMostLights) {
    return invalid("expected 1 to " + std::to_string(kMostLights) + " lines of '" + options.chip +
                   "', found " + std::to_string(options.lines.size()));
  }
  std::set<std::string_view> seen;
  for (const GpioLine& line : options.lines) {
    if (line.line.empty()) return invalid("a line of '" + options.chip + "' has neither name nor number");
    if (!seen.insert(line.line).second) return invalid("two lights are on line '" + line.line + "'");
  }
  return base::Done{};
}

base::Result<std::unique_ptr<LightDevice>> make_gpio_lights(GpioLightsOptions options) {
  if (const auto checked = check_gpio_lights(options); !checked) return checked.error();
  std::unique_ptr<LightDevice> device = std::make_unique<GpioLights>(std::move(options));
  return device;
}

}  // namespace crestgate::driver
