// SPDX-License-Identifier: Apache-2.0
// Rows about what people ask for: manual trigger, bypass, release, sampling.

#include "daemon/cell/step_plays.h"

namespace crestgate::cell {
namespace {

using base::PlcInputs;
using base::Reason;
using base::Verdict;

void lay_part(Stage& s) {
  s.plc([](PlcInputs& in) {
    in.part_present = true;
    in.recipe = 12;
    in.identity.part_id = "ES-1";
  });
}
void trigger(Stage& s, bool on = true) {
  s.plc([&](PlcInputs& in) { in.manual_trigger = on; });
}
void bypass(Stage& s, bool on = true, const std::string& who = "Ines", std::uint16_t minutes = 1) {
  s.plc([&](PlcInputs& in) {
    in.bypass = on;
    in.operator_name = who;
    in.bypass_minutes = minutes;
  });
}

void add_trigger(Plays& plays) {
  plays["trigger_while_busy"] = [](Stage& s) {
    lay_part(s);
    trigger(s);
    trigger(s, false);
    trigger(s);
    s.expect_refused();
    s.finish();
    s.expect_green();
  };
  plays["trigger_stands"] = [](Stage& s) {
    lay_part(s);
    trigger(s);
    s.finish();
    s.plc([](PlcInputs& in) { in.part_present = false; });
    s.plc([](PlcInputs& in) { in.part_present = true; });
    EXPECT_EQ(s.bench.phase(), Phase::kIdle);
  };
  plays["trigger_with_request"] = [](Stage& s) {
    s.ask();
    trigger(s);
    s.expect_refused();
    s.finish();
    EXPECT_EQ(s.bench.signal().request_echo, 1);
  };
  plays["trigger_without_part"] = [](Stage& s) {
    trigger(s);
    s.expect_refused();
    EXPECT_EQ(s.bench.phase(), Phase::kIdle);
  };
  plays["trigger_echo"] = [](Stage& s) {
    lay_part(s);
    trigger(s);
    s.finish();
    s.expect_green();
    EXPECT_EQ(s.bench.signal().request_echo, 0);
    EXPECT_EQ(s.bench.signal().sequence, 1U);
  };
}

void add_bypass(Plays& plays) {
  plays["bypass_while_busy"] = [](Stage& s) {
    s.ask();
    bypass(s);
    s.expect_refused();
    s.finish();
    s.expect_green();
  };
  plays["bypass_stands"] = [](Stage& s) {
    bypass(s);
    EXPECT_TRUE(s.bench.signal().bypass_active);
    s.bench.pass_ms(61'000);
    EXPECT_FALSE(s.bench.signal().bypass_active) << "its minute is over, though the bit stands";
    bypass(s, false);
    bypass(s, true);
    EXPECT_TRUE(s.bench.signal().bypass_active);
  };
  plays["bypass_request"] = [](Stage& s) {
    bypass(s);
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.recipe = 12;
      in.request_id = 1;
      in.identity.part_id = "ES-1";
    });
    s.expect_none(Reason::kBypassed);
    EXPECT_EQ(s.bench.signal().fate, base::Fate::kQuarantine);
  };
  plays["bypass_anonymous"] = [](Stage& s) {
    bypass(s, true, "");
    s.expect_refused();
    bypass(s, false);
    bypass(s, true, "Ines", 0);
    s.expect_refused();
    EXPECT_FALSE(s.bench.signal().bypass_active);
  };
  plays["bypass_ended"] = [](Stage& s) {
    bypass(s);
    bypass(s, false);
    EXPECT_FALSE(s.bench.signal().bypass_active);
    s.ask();
    s.finish();
    s.expect_green();
  };
}

void add_others(Plays& plays) {
  plays["release_of_nothing"] = [](Stage& s) {
    s.plc([](PlcInputs& in) { in.release = true; });
    s.expect_refused();
  };
  plays["not_sampled"] = [](Stage& /*measures_all*/) {
    CellDescription cell = played_cell();
    cell.plans[0].plan.sampling = {.every = 3, .after_dress = false, .after_reject = 0};
    cell.plans[0].plan.on_not_sampled = base::Fate::kPassUnmeasured;
    Stage s({}, cell);
    s.measure();
    s.empty_the_bench();
    s.bench.request("ES-2", 2);
    s.expect_none(Reason::kNotSampled);
    EXPECT_EQ(s.bench.signal().fate, base::Fate::kPassUnmeasured);
    EXPECT_EQ(s.bench.signal().lamp, base::Lamp::kDark);
    EXPECT_NE(s.bench.signal().line.find("not measured"), std::string::npos);
  };
}

}  // namespace

void add_people_plays(Plays& plays) {
  add_trigger(plays);
  add_bypass(plays);
  add_others(plays);
}

}  // namespace crestgate::cell
