// SPDX-License-Identifier: Apache-2.0
// With the real library and whatever this machine has: its errors everywhere, its lines where there is a simulated
// chip (kernel module gpio-sim; its label begins so).
#include <array>
#include <filesystem>
#include <fstream>
#include <string>

#include <gpiod.h>
#include <gtest/gtest.h>

#include "driver/signal/gpio/gpio_lights.h"

namespace crestgate::driver {
namespace {

constexpr std::array kOff{false};
constexpr std::array kOn{true};

base::Error failure_of(const std::string& chip) {
  const auto device = make_gpio_lights({.chip = chip, .lines = {{"0", false}}});
  EXPECT_TRUE(device.has_value());
  const auto set = (*device)->set(kOff);
  return set ? base::Error{base::ErrorCode::kCancelled, "it did not fail"} : set.error();
}

TEST(RealGpio, TheLibraryIsTheOneThatTheseLightsAreWrittenFor) {
  EXPECT_EQ(std::string(::gpiod_version_string()).substr(0, 4), "1.6.");
}

TEST(RealGpio, AMissingChipAndAFileThatIsNoneAreToldApart) {
  EXPECT_EQ(failure_of("/dev/gpiochip_not_there").code, base::ErrorCode::kNotFound);
  EXPECT_EQ(failure_of("gpiochip_not_there").code, base::ErrorCode::kNotFound);
  const base::Error none = failure_of("/dev/null");
  EXPECT_EQ(none.code, base::ErrorCode::kInvalidConfig) << none.detail;
}

std::string simulated_chip() {
  std::error_code none;
  for (const auto& entry : std::filesystem::directory_iterator("/dev", none)) {
    if (!entry.path().filename().string().starts_with("gpiochip")) continue;
    gpiod_chip* chip = ::gpiod_chip_open(entry.path().c_str());
    if (chip == nullptr) continue;
    const bool simulated = std::string(::gpiod_chip_label(chip)).find("gpio-sim") != std::string::npos;
    ::gpiod_chip_close(chip);
    if (simulated) return entry.path();
  }
  return "";
}

TEST(RealGpio, ALineOfASimulatedChipGoesOnAndOff) {
  const std::string chip = simulated_chip();
  if (chip.empty()) GTEST_SKIP() << "this machine has no simulated GPIO chip (kernel module gpio-sim)";
  const auto device = make_gpio_lights({.chip = chip, .lines = {{"0", false}}});
  ASSERT_TRUE(device.has_value());
  EXPECT_EQ(*(*device)->set(kOn), Applied::kConfirmed);
  EXPECT_EQ(*(*device)->set(kOff), Applied::kConfirmed);
  const auto second = make_gpio_lights({.chip = chip, .lines = {{"0", false}}});
  EXPECT_EQ((*second)->set(kOff).error().code, base::ErrorCode::kBusy);
}

}  // namespace
}  // namespace crestgate::driver
