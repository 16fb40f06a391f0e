// SPDX-License-Identifier: Apache-2.0
// At the seam of the library: support/fake_gpiod stands in for libgpiod. The real one: real_gpio_test.cpp.
#include "driver/signal/gpio/gpio_lights.h"

#include <array>
#include <cerrno>
#include <cstdio>

#include <gtest/gtest.h>

#include "support/fake_gpio.h"
#include "support/open_descriptors.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;

constexpr std::array kDark{false, false};
constexpr std::array kGreenOnly{false, true};
constexpr std::array kRedOnly{true, false};
constexpr unsigned kRed = 1;  // offsets of the fake chip's lines
constexpr unsigned kGreen = 2;

GpioLightsOptions red_and_green(const std::string& chip) {
  return {.chip = chip, .lines = {{"red", false}, {"green", false}}, .bias = LineBias::kPullDown};
}

std::unique_ptr<LightDevice> make(GpioLightsOptions options) {
  auto device = make_gpio_lights(std::move(options));
  EXPECT_TRUE(device.has_value());
  return *std::move(device);
}

base::Error failure_of(GpioLightsOptions options) {
  auto device = make_gpio_lights(options);
  if (!device) return device.error();
  const std::vector<char> count(options.lines.size());
  const std::array<bool, kMostLights> dark{};
  const auto set = (*device)->set(std::span(dark).first(options.lines.size()));
  return set ? base::Error{ErrorCode::kCancelled, "it did not fail"} : set.error();
}

TEST(GpioLights, SwitchesAndReadsBackByPathNameAndLabel) {
  const tests::FakeGpio gpio;
  for (const std::string& chip : {gpio.chip_path(), std::string("gpiochip7"), std::string("fake-lamps"),
                                  std::string("/dev/gpiochip7")}) {
    const auto device = make(red_and_green(chip));
    EXPECT_EQ(*device->set(kGreenOnly), Applied::kConfirmed) << chip;
    EXPECT_TRUE(gpio.is_high(kGreen));
    EXPECT_FALSE(gpio.is_high(kRed));
    EXPECT_EQ(*device->set(kRedOnly), Applied::kConfirmed);
    EXPECT_FALSE(gpio.is_high(kGreen));
    EXPECT_TRUE(gpio.is_high(kRed));
    device->stop();
    EXPECT_FALSE(gpio.is_high(kRed));
  }
}

TEST(GpioLights, OpeningSwitchesOffWhatALastRunHasLeft) {
  const tests::FakeGpio gpio;
  gpio.leave_high(kGreen);
  const auto device = make(red_and_green("gpiochip7"));
  EXPECT_TRUE(gpio.is_high(kGreen));
  EXPECT_EQ(*device->set(kDark), Applied::kConfirmed);
  EXPECT_FALSE(gpio.is_high(kGreen));
}

TEST(GpioLights, ALineIsSetOnChangeOnlyAndOffBeforeOn) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(device->set(kRedOnly).has_value());
  const std::size_t before = gpio.log().size();
  for (int turn = 0; turn < 10; ++turn) ASSERT_TRUE(device->set(kRedOnly).has_value());
  EXPECT_EQ(gpio.log().size(), before);
  ASSERT_TRUE(device->set(kGreenOnly).has_value());
  const auto log = gpio.log();
  ASSERT_EQ(log.size(), before + 2);
  EXPECT_EQ(log[before].light, kRed);
  EXPECT_FALSE(log[before].is);
  EXPECT_EQ(log[before + 1].light, kGreen);
  EXPECT_TRUE(log[before + 1].is);
}

TEST(GpioLights, ALineThatIsActiveLowIsOffWhenThePinIsHigh) {
  const tests::FakeGpio gpio;
  GpioLightsOptions options = red_and_green("gpiochip7");
  options.lines[1].active_low = true;
  const auto device = make(options);
  ASSERT_TRUE(device->set(kDark).has_value());
  EXPECT_TRUE(gpio.is_high(kGreen));
  EXPECT_FALSE(gpio.is_high(kRed));
  ASSERT_TRUE(device->set(kGreenOnly).has_value());
  EXPECT_FALSE(gpio.is_high(kGreen));
  device->stop();
  EXPECT_TRUE(gpio.is_high(kGreen));
}

TEST(GpioLights, LinesAreFoundByNumberToo) {
  const tests::FakeGpio gpio;
  const auto device = make({.chip = "gpiochip7", .lines = {{"1", false}, {"2", false}}});
  ASSERT_TRUE(device->set(kGreenOnly).has_value());
  EXPECT_TRUE(gpio.is_high(kGreen));
}

TEST(GpioLights, WhatCannotBeOpenedIsSaidInPlainWords) {
  const tests::FakeGpio gpio;
  const auto expect = [](const GpioLightsOptions& options, ErrorCode code, const std::string& words) {
    const base::Error error = failure_of(options);
    EXPECT_EQ(error.code, code) << error.detail;
    EXPECT_EQ(error.detail, words);
  };
  expect(red_and_green("gpiochip9"), ErrorCode::kNotFound, "there is no GPIO chip 'gpiochip9'");
  expect(red_and_green("/dev/gpiochip9"), ErrorCode::kNotFound, "there is no GPIO chip '/dev/gpiochip9'");
  expect(red_and_green("/dev/null"), ErrorCode::kInvalidConfig, "'/dev/null' is not a GPIO chip");
  expect({.chip = "gpiochip7", .lines = {{"blue", false}}}, ErrorCode::kNotFound,
         "there is no line 'blue' on GPIO chip 'gpiochip7'");
  expect({.chip = "gpiochip7", .lines = {{"5", false}}}, ErrorCode::kNotFound,
         "there is no line 5 on GPIO chip 'gpiochip7': it has lines 0 to 4");
  expect({.chip = "gpiochip7", .lines = {{"twin", false}}}, ErrorCode::kInvalidConfig,
         "two lines have the name 'twin' on GPIO chip 'gpiochip7': use the number");
  expect({.chip = "gpiochip7", .lines = {{"green", false}, {"2", false}}}, ErrorCode::kInvalidConfig,
         "two lights are on line '2'");
  expect({.chip = "gpiochip7", .lines = {{"green", false}, {"green", false}}}, ErrorCode::kInvalidConfig,
         "two lights are on line 'green'");
  expect({.chip = "", .lines = {{"green", false}}}, ErrorCode::kInvalidConfig, "no GPIO chip is named");
  expect({.chip = "gpiochip7", .lines = {}}, ErrorCode::kInvalidConfig,
         "expected 1 to 16 lines of 'gpiochip7', found 0");
  expect({.chip = "gpiochip7", .lines = {{"", false}}}, ErrorCode::kInvalidConfig,
         "a line of 'gpiochip7' has neither name nor number");
  const auto holder = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(holder->set(kDark).has_value());
  expect(red_and_green("gpiochip7"), ErrorCode::kBusy,
         "line 'red' is in use by 'crestgate': a line belongs to one program");
  gpio.set_faults("open " + std::to_string(EACCES));
  expect(red_and_green("gpiochip7"), ErrorCode::kRefused,
         "no permission to open GPIO chip 'gpiochip7'; the account must be in the group that owns it");
}

TEST(GpioLights, ALineTakenBySomebodyElseIsTakenWhenItIsFree) {
  const tests::FakeGpio gpio;
  const auto first = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(first->set(kRedOnly).has_value());
  const auto second = make(red_and_green("gpiochip7"));
  EXPECT_EQ(second->set(kGreenOnly).error().code, ErrorCode::kBusy);
  EXPECT_TRUE(gpio.is_high(kRed));  // not ours: not touched
  first->stop();
  EXPECT_EQ(*second->set(kGreenOnly), Applied::kConfirmed);
}

// A lit green whose line fails must not stay.
TEST(GpioLights, AfterAnErrorEverythingIsOffForASecondAndThenItComesBack) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(device->set(kGreenOnly).has_value());
  gpio.set_faults("get " + std::to_string(EIO));
  const auto failed = device->set(kGreenOnly);
  ASSERT_FALSE(failed.has_value());
  EXPECT_EQ(failed.error().code, ErrorCode::kIo);
  EXPECT_EQ(failed.error().detail, "line 'red' cannot be read back (Input/output error)");
  EXPECT_FALSE(gpio.is_high(kGreen));
  gpio.set_faults("");
  const auto begin = std::chrono::steady_clock::now();
  EXPECT_FALSE(device->set(kGreenOnly).has_value());
  EXPECT_FALSE(gpio.is_high(kGreen));
  EXPECT_TRUE(tests::eventually([&] { return device->set(kGreenOnly).has_value(); }));
  EXPECT_GE(std::chrono::steady_clock::now() - begin, std::chrono::milliseconds(900));
  EXPECT_TRUE(gpio.is_high(kGreen));
}

TEST(GpioLights, AnOffThatFailsIsMadeUpForByOpeningAgain) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(device->set(kGreenOnly).has_value());
  gpio.set_faults("set " + std::to_string(EIO));
  EXPECT_EQ(device->set(kDark).error().detail, "line 'green' cannot be switched (Input/output error)");
  EXPECT_TRUE(gpio.is_high(kGreen));
  EXPECT_FALSE(device->set(kDark).has_value());  // opening switches off by itself
  EXPECT_FALSE(gpio.is_high(kGreen));
  gpio.set_faults("");
}

TEST(GpioLights, StopTriesOnceMoreWhenAnOffHasFailed) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(device->set(kGreenOnly).has_value());
  gpio.set_faults("set " + std::to_string(EIO));
  device->stop();
  EXPECT_FALSE(gpio.is_high(kGreen));
  EXPECT_EQ(device->set(kGreenOnly).error().code, ErrorCode::kCancelled);
}

TEST(GpioLights, ALineThatDoesNotReadAsItWasSetIsAnErrorAndNothingStaysLit) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(device->set(kDark).has_value());
  gpio.set_faults("stuck 1 1");
  const auto failed = device->set(kGreenOnly);
  ASSERT_FALSE(failed.has_value());
  EXPECT_EQ(failed.error().code, ErrorCode::kIo);
  EXPECT_EQ(failed.error().detail, "line 'red' was switched off but reads on: look at its wiring");
  EXPECT_FALSE(gpio.is_high(kGreen));
}

TEST(GpioLights, ItSaysThatItsGreenMayStay) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  EXPECT_FALSE(device->falls_by_itself().falls);
  EXPECT_EQ(device->name(), "digital lines of gpiochip7");
  EXPECT_EQ(device->light_count(), 2U);
}

TEST(GpioLights, AHundredFailuresLeaveNoDescriptorBehind) {
  const tests::FakeGpio gpio;
  const auto device = make(red_and_green("gpiochip7"));
  ASSERT_TRUE(device->set(kDark).has_value());
  const std::size_t before = tests::open_descriptors();
  for (int turn = 0; turn < 100; ++turn) {
    gpio.set_faults("get " + std::to_string(EIO));
    EXPECT_FALSE(device->set(kGreenOnly).has_value());
    gpio.set_faults("");
    EXPECT_FALSE(device->set(kGreenOnly).has_value());
  }
  EXPECT_EQ(tests::open_descriptors(), before);
}

}  // namespace
}  // namespace crestgate::driver
