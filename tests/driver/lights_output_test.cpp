// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/lights/lights_output.h"

#include <algorithm>
#include <functional>
#include <optional>

#include <gtest/gtest.h>

#include "support/accepted_signal.h"

namespace crestgate::driver {
namespace {

using tests::accepted;

using base::ErrorCode;

class ManualClock final : public base::Clock {
 public:
  [[nodiscard]] base::UtcInstant utc() const override { return {}; }
  [[nodiscard]] base::MonotonicInstant monotonic() const override { return now; }
  void advance_ms(std::int64_t ms) { now = base::after_ms(now, ms); }
  base::MonotonicInstant now{1'000'000};
};

// What a device was told, for a test to look at after the output owns it.
struct Told {
  std::vector<std::vector<bool>> sets;
  int stops = 0;
  std::optional<base::Error> trouble;
};

class RecordingDevice final : public LightDevice {
 public:
  RecordingDevice(Told& told, std::size_t lights, bool falls) : told_(told), lights_(lights), falls_(falls) {}
  [[nodiscard]] std::string_view name() const override { return "a recording device"; }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    return {falls_, falls_ ? "a watchdog drops it" : "it holds its last state"};
  }
  [[nodiscard]] std::size_t light_count() const override { return lights_; }
  base::Result<Applied> set(std::span<const bool> lit) override {
    told_.sets.emplace_back(lit.begin(), lit.end());
    if (told_.trouble) return *told_.trouble;
    return Applied::kConfirmed;
  }
  void stop() override { ++told_.stops; }

 private:
  Told& told_;
  std::size_t lights_;
  bool falls_;
};

base::CellSignal rejected(base::Fate fate) {
  base::CellSignal signal = accepted();
  signal.lamp = base::Lamp::kRed;
  signal.verdict = base::Verdict::kReject;
  signal.fate = fate;
  return signal;
}

constexpr std::array kAllShows = {Shows::kAccept,      Shows::kReject,     Shows::kAct,
                                  Shows::kNotMeasured, Shows::kMeasuring,  Shows::kRework,
                                  Shows::kScrap,       Shows::kQuarantine, Shows::kMeasureAgain};

std::vector<Shows> lit_under(const base::CellSignal& signal) {
  std::vector<Shows> lit;
  std::copy_if(kAllShows.begin(), kAllShows.end(), std::back_inserter(lit),
               [&](Shows shows) { return is_lit(shows, signal); });
  return lit;
}

// Expected: the meanings in light.h.
TEST(Light, EachStateLightsWhatItMeansAndNothingElse) {
  EXPECT_EQ(lit_under(accepted()), std::vector{Shows::kAccept});
  EXPECT_EQ(lit_under(rejected(base::Fate::kNone)), std::vector{Shows::kReject});
  EXPECT_EQ(lit_under(rejected(base::Fate::kRework)), (std::vector{Shows::kReject, Shows::kRework}));
  EXPECT_EQ(lit_under(rejected(base::Fate::kScrap)), (std::vector{Shows::kReject, Shows::kScrap}));
  EXPECT_EQ(lit_under(rejected(base::Fate::kQuarantine)), (std::vector{Shows::kReject, Shows::kQuarantine}));
  EXPECT_EQ(lit_under(rejected(base::Fate::kMeasureAgain)),
            (std::vector{Shows::kReject, Shows::kMeasureAgain}));
  base::CellSignal signal;
  EXPECT_TRUE(lit_under(signal).empty());
  signal.state = base::CellState::kMeasuring;
  EXPECT_EQ(lit_under(signal), std::vector{Shows::kMeasuring});
  signal.operator_wanted = true;
  EXPECT_EQ(lit_under(signal), (std::vector{Shows::kAct, Shows::kMeasuring}));
  signal = {};
  signal.lamp = base::Lamp::kBlueFlashing;
  EXPECT_EQ(lit_under(signal), std::vector{Shows::kAct});
  signal = {};
  signal.result_valid = true;
  signal.reason = base::Reason::kNotSampled;
  signal.fate = base::Fate::kPassUnmeasured;
  EXPECT_EQ(lit_under(signal), std::vector{Shows::kNotMeasured});
  signal.fate = base::Fate::kQuarantine;
  EXPECT_EQ(lit_under(signal), (std::vector{Shows::kNotMeasured, Shows::kQuarantine}));
  signal = {};
  signal.bypass_active = true;
  EXPECT_EQ(lit_under(signal), std::vector{Shows::kNotMeasured});
}

TEST(Light, OneContradictionIsEnoughToBeNoAccept) {
  const auto spoil = {
      +[](base::CellSignal& s) { s.result_valid = false; },
      +[](base::CellSignal& s) { s.verdict = base::Verdict::kReject; },
      +[](base::CellSignal& s) { s.verdict = base::Verdict::kNone; },
      +[](base::CellSignal& s) { s.bypass_active = true; },
      +[](base::CellSignal& s) { s.lamp = base::Lamp::kDark; },
      +[](base::CellSignal& s) { s.lamp = base::Lamp::kRed; },
      +[](base::CellSignal& s) { s.lamp = base::Lamp::kBlueFlashing; },
  };
  for (const auto change : spoil) {
    base::CellSignal signal = accepted();
    change(signal);
    EXPECT_FALSE(is_lit(Shows::kAccept, signal));
  }
}

TEST(Light, AFateWithoutAStandingResultIsDark) {
  for (const base::Fate fate :
       {base::Fate::kRework, base::Fate::kScrap, base::Fate::kQuarantine, base::Fate::kMeasureAgain}) {
    base::CellSignal signal = rejected(fate);
    signal.result_valid = false;
    signal.lamp = base::Lamp::kDark;
    EXPECT_TRUE(lit_under(signal).empty());
  }
}

TEST(Light, NothingIsLitInTheSafeStateButACallForAPerson) {
  for (const base::Fate fate : {base::Fate::kNone, base::Fate::kRework, base::Fate::kPassUnmeasured})
    EXPECT_TRUE(lit_under(made_safe(rejected(fate))).empty());
  EXPECT_TRUE(lit_under(made_safe(accepted())).empty());
}

const SelfFall kFalls{true, "a watchdog drops it"};
const SelfFall kHolds{false, "a relay holds its last state"};

std::string refusal(const std::vector<Light>& lights, const SelfFall& fall, GreenCarried green) {
  const auto checked = check_lights(lights, fall, green);
  if (checked) return "";
  EXPECT_EQ(checked.error().code, ErrorCode::kInvalidConfig);
  return checked.error().detail;
}

TEST(CheckLights, WhatIsWrongIsSaidInPlainWords) {
  const Light green{"GOOD", Shows::kAccept, false};
  const Light red{"BAD", Shows::kReject, false};
  EXPECT_EQ(refusal({green, red}, kFalls, GreenCarried::kSteady), "");
  EXPECT_EQ(refusal({red}, kHolds, GreenCarried::kSteady), "");
  EXPECT_EQ(refusal({green, red}, kHolds, GreenCarried::kPulses), "");
  EXPECT_EQ(refusal({}, kFalls, GreenCarried::kSteady), "no light is described: name at least one");
  EXPECT_EQ(
      refusal({{"GOOD", Shows::kAccept, true}}, kFalls, GreenCarried::kSteady),
      "light 'GOOD' shows an accept and may not flash: at a glance it would be taken for off, or for on");
  EXPECT_EQ(refusal({green, {"GOOD", Shows::kAccept, false}}, kFalls, GreenCarried::kSteady),
            "two lights have the label 'GOOD'");
  EXPECT_EQ(refusal({green, {"GOOD", Shows::kReject, false}}, kFalls, GreenCarried::kSteady),
            "the label 'GOOD' would mean both accept and reject: give each its own word");
  EXPECT_EQ(refusal({green, {" ", Shows::kReject, false}}, kFalls, GreenCarried::kSteady),
            "light 2 (reject) has no label: a colour alone says nothing to some people; give it a word");
  EXPECT_EQ(
      refusal({red, green}, kHolds, GreenCarried::kSteady),
      "light 'GOOD' shows an accept, but a relay holds its last state: put the guard in front of the device, "
      "or carry the green as pulses into a watchdog relay, or take the accept off this device");
  std::vector<Light> many(kMostLights + 1);
  for (std::size_t i = 0; i < many.size(); ++i) many[i] = {std::to_string(i), Shows::kReject, false};
  EXPECT_EQ(refusal(many, kFalls, GreenCarried::kSteady),
            "17 lights are described; one device has 16 at most");
}

class LightsOutputTest : public ::testing::Test {
 protected:
  std::unique_ptr<SignalOutput> make(std::vector<Light> lights, GreenCarried green = GreenCarried::kSteady,
                                     bool falls = true) {
    auto device = std::make_unique<RecordingDevice>(told_, lights.size(), falls);
    auto output =
        make_lights_output(std::move(lights), std::move(device), {.name = "tower", .green = green}, clock_);
    EXPECT_TRUE(output.has_value());
    return output ? *std::move(output) : nullptr;
  }
  // The states of light `index` over `turns` calls of apply(), one every `step_ms`, as a word: 1 lit, 0 not.
  std::string course(SignalOutput& output, const base::CellSignal& signal, std::size_t index, int turns,
                     std::int64_t step_ms) {
    std::string word;
    for (int turn = 0; turn < turns; ++turn) {
      EXPECT_TRUE(output.apply(signal).has_value());
      word += told_.sets.back()[index] ? '1' : '0';
      clock_.advance_ms(step_ms);
    }
    return word;
  }
  ManualClock clock_;
  Told told_;
};

TEST_F(LightsOutputTest, TheFirstThingADeviceHearsIsOff) {
  const auto output = make({{"GOOD", Shows::kAccept, false}, {"BAD", Shows::kReject, false}});
  ASSERT_EQ(told_.sets.size(), 1U);
  EXPECT_EQ(told_.sets[0], (std::vector<bool>{false, false}));
}

TEST_F(LightsOutputTest, ASteadyLightIsOnAsLongAsItStands) {
  const auto output = make({{"GOOD", Shows::kAccept, false}, {"BAD", Shows::kReject, false}});
  EXPECT_EQ(course(*output, accepted(), 0, 40, 50), std::string(40, '1'));
  EXPECT_EQ(course(*output, rejected(base::Fate::kNone), 0, 4, 50), "0000");
  EXPECT_EQ(told_.sets.back(), (std::vector<bool>{false, true}));
}

// 1 Hz, half on, refreshed every 50 ms: ten on, ten off.
TEST_F(LightsOutputTest, AFlashingLightIsOnFirstAndThenHalfOfEachSecond) {
  const auto output = make({{"BAD", Shows::kReject, true}});
  clock_.advance_ms(377);  // it begins when it is wanted
  EXPECT_EQ(course(*output, rejected(base::Fate::kNone), 0, 40, 50),
            std::string(10, '1') + std::string(10, '0') + std::string(10, '1') + std::string(10, '0'));
  EXPECT_EQ(course(*output, accepted(), 0, 3, 50), "000");
  EXPECT_EQ(course(*output, rejected(base::Fate::kNone), 0, 1, 50), "1");
}

// 5 Hz at a refresh of 50 ms: two on, two off.
TEST_F(LightsOutputTest, APulsedAcceptTogglesEvery100Ms) {
  const auto output =
      make({{"GOOD", Shows::kAccept, false}, {"BAD", Shows::kReject, false}}, GreenCarried::kPulses, false);
  EXPECT_EQ(course(*output, accepted(), 0, 16, 50), "1100110011001100");
  EXPECT_EQ(course(*output, rejected(base::Fate::kNone), 1, 8, 50), "11111111");
}

// A relay of the kind holds for some 300 to 500 ms after an edge: the count of edges in a second tells whether it
// would. A cycle that limps, or whose clock stands still, makes none that would do.
TEST_F(LightsOutputTest, TheTrainLivesOnCallsAndOnTime) {
  const auto output = make({{"GOOD", Shows::kAccept, false}}, GreenCarried::kPulses, false);
  ASSERT_TRUE(output->apply(accepted()).has_value());
  const std::size_t before = told_.sets.size();
  clock_.advance_ms(5000);
  EXPECT_EQ(told_.sets.size(), before);
  EXPECT_EQ(course(*output, accepted(), 0, 20, 0), std::string(20, told_.sets.back()[0] ? '1' : '0'));
  EXPECT_EQ(course(*output, accepted(), 0, 8, 200), std::string(8, told_.sets.back()[0] ? '1' : '0'));
}

TEST_F(LightsOutputTest, SafePutsEverythingOffAtOnceUntilItIsToldAgain) {
  for (const GreenCarried green : {GreenCarried::kSteady, GreenCarried::kPulses}) {
    const auto output = make({{"GOOD", Shows::kAccept, false}, {"WORK", Shows::kMeasuring, true}}, green);
    ASSERT_TRUE(output->apply(accepted()).has_value());
    const std::size_t before = told_.sets.size();
    output->safe();
    ASSERT_EQ(told_.sets.size(), before + 1);
    EXPECT_EQ(told_.sets.back(), (std::vector<bool>{false, false}));
    clock_.advance_ms(130);
    ASSERT_TRUE(output->apply(accepted()).has_value());
    EXPECT_TRUE(told_.sets.back()[0]);
  }
}

TEST_F(LightsOutputTest, StopPutsEverythingOffOnceAndForGood) {
  const auto output = make({{"GOOD", Shows::kAccept, false}});
  ASSERT_TRUE(output->apply(accepted()).has_value());
  output->stop();
  output->stop();
  EXPECT_EQ(told_.sets.back(), std::vector<bool>{false});
  EXPECT_EQ(told_.stops, 1);
  const std::size_t before = told_.sets.size();
  const auto late = output->apply(accepted());
  ASSERT_FALSE(late.has_value());
  EXPECT_EQ(late.error().code, ErrorCode::kCancelled);
  output->safe();
  EXPECT_EQ(told_.sets.size(), before);
}

TEST_F(LightsOutputTest, WhatTheDeviceSaysReachesTheCell) {
  const auto output = make({{"GOOD", Shows::kAccept, false}});
  told_.trouble = base::Error{ErrorCode::kIo, "the lamp is broken"};
  const auto applied = output->apply(accepted());
  ASSERT_FALSE(applied.has_value());
  EXPECT_EQ(applied.error().code, ErrorCode::kIo);
  EXPECT_EQ(applied.error().detail, "tower: the lamp is broken");
  told_.trouble.reset();
  EXPECT_EQ(*output->apply(accepted()), Applied::kConfirmed);
}

TEST_F(LightsOutputTest, ItFallsWithItsDeviceOrWithItsPulses) {
  EXPECT_EQ(make({{"GOOD", Shows::kAccept, false}})->falls_by_itself().sentence, "a watchdog drops it");
  const SelfFall pulsed =
      make({{"GOOD", Shows::kAccept, false}}, GreenCarried::kPulses, false)->falls_by_itself();
  EXPECT_TRUE(pulsed.falls);
  EXPECT_NE(pulsed.sentence.find("pulses"), std::string::npos);
  // Without an accept there is nothing that pulses would carry.
  EXPECT_FALSE(make({{"BAD", Shows::kReject, false}}, GreenCarried::kPulses, false)->falls_by_itself().falls);
}

TEST_F(LightsOutputTest, LightsAndDeviceMustFit) {
  auto device = std::make_unique<RecordingDevice>(told_, 3, true);
  const auto output =
      make_lights_output({{"GOOD", Shows::kAccept, false}}, std::move(device), {.name = "tower"}, clock_);
  ASSERT_FALSE(output.has_value());
  EXPECT_EQ(output.error().detail, "tower: 1 lights are described, but a recording device has 3");
}

}  // namespace
}  // namespace crestgate::driver
