// SPDX-License-Identifier: Apache-2.0
// Rows about what is asked, and for which part.

#include "daemon/cell/step_plays.h"

namespace crestgate::cell {
namespace {

using base::PlcInputs;
using base::Reason;
using base::Verdict;

void add_requests(Plays& plays) {
  plays["request_late"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.identity.part_id = "somebody else's";
    });
    s.bench.pass_ms(5000);
    EXPECT_EQ(s.bench.phase(), Phase::kIdle);
    s.ask();
    s.finish();
    EXPECT_EQ(s.bench.recorded().back().identity.part_id, "ES-1");
  };
  plays["request_repeated"] = [](Stage& s) {
    s.measure();
    s.plc([](PlcInputs& /*in*/) {});
    s.expect_green();
    EXPECT_FALSE(s.bench.asks<StartTraverse>());
  };
  plays["request_stands_over_restart"] = [](Stage& s) {
    s.measure();
    PartBook book;
    for (const auto& judgement : s.bench.recorded()) book.note(judgement);
    CycleBench after(book, played_cell());
    after.gauge_comes();
    after.request("ES-1");
    after.pass_ms(1000);
    EXPECT_EQ(after.phase(), Phase::kIdle) << "nothing is begun";
    EXPECT_TRUE(after.signal().ready);
    EXPECT_EQ(after.signal().request_echo, 0) << "by this the PLC knows that it was forgotten";
    after.plc_changes([](PlcInputs& in) { in.request_id = 0; });
    after.request("ES-1", 2);
    EXPECT_EQ(after.signal().attempt, 2);
  };
  plays["request_while_busy"] = [](Stage& s) {
    s.ask();
    s.plc([](PlcInputs& in) { in.request_id = 2; });
    s.expect_none(Reason::kRequestWhileBusy);
    EXPECT_TRUE(s.bench.signal().result_valid) << "the PLC can read why";
    EXPECT_EQ(s.bench.signal().request_echo, 1);
    s.bench.pass_ms(1000);
    EXPECT_NE(s.bench.phase(), Phase::kPositioning) << "the new number is not queued";
    s.plc([](PlcInputs& in) { in.request_id = 0; });
    s.plc([](PlcInputs& in) { in.request_id = 2; });
    s.bench.pass_ms(kTickMs);
    EXPECT_EQ(s.bench.signal().request_echo, 2);
  };
  plays["request_dropped"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.plc([](PlcInputs& in) { in.request_id = 0; });
    EXPECT_TRUE(s.bench.take<RetractStylus>().abort);
    s.expect_none(Reason::kAborted);
  };
  plays["request_dropped_while_recording"] = [](Stage& s) {
    s.ask();
    s.bench.to_the_last_traverse();
    s.bench.ledger_takes_traverse();
    s.bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
    s.plc([](PlcInputs& in) { in.request_id = 0; });
    s.bench.ledger_takes_judgement();
    EXPECT_EQ(s.bench.recorded().back().verdict, Verdict::kAccept);
    s.expect_not_green();
  };
}

void add_presence(Plays& plays) {
  plays["part_late"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.request_id = 1;
      in.recipe = 12;
      in.identity.part_id = "ES-1";
    });
    s.expect_none(Reason::kPartLeft);
  };
  plays["part_bounced"] = [](Stage& s) {
    s.measure();
    s.plc([](PlcInputs& in) { in.part_present = false; });
    s.plc([](PlcInputs& in) { in.part_present = true; });
    s.expect_not_green();
    EXPECT_EQ(s.bench.phase(), Phase::kIdle) << "the same number asks for nothing";
  };
  plays["part_left"] = [](Stage& s) {
    s.ask();
    s.bench.zone(1);
    s.plc([](PlcInputs& in) { in.part_present = false; });
    EXPECT_TRUE(s.bench.take<RetractStylus>().abort);
    s.expect_none(Reason::kPartLeft);
  };
  plays["part_left_while_recording"] = [](Stage& s) {
    s.ask();
    s.bench.to_the_last_traverse();
    s.bench.ledger_takes_traverse();
    s.bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
    s.plc([](PlcInputs& in) { in.part_present = false; });
    s.bench.ledger_takes_judgement();
    EXPECT_EQ(s.bench.recorded().back().verdict, Verdict::kAccept);
    s.expect_not_green();
  };
}

void add_identity(Plays& plays) {
  plays["identity_late"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 1;
      in.recipe = 12;
      in.identity.part_id = "before";
    });
    s.plc([](PlcInputs& in) { in.identity.part_id = "ES-1"; });
    s.expect_none(Reason::kIdentityChanged);
  };
  plays["identity_repeated"] = [](Stage& s) {
    s.measure();
    s.empty_the_bench();
    s.bench.measure("ES-1", Verdict::kReject, 2);
    EXPECT_EQ(s.bench.recorded().back().attempt, 2U);
    s.empty_the_bench();
    s.ask(3);
    s.expect_none(Reason::kAttemptsExhausted);
    EXPECT_EQ(s.bench.signal().fate, base::Fate::kQuarantine);
  };
  plays["identity_changed"] = [](Stage& s) {
    s.ask();
    s.plc([](PlcInputs& in) { in.identity.part_id = "ES-2"; });
    s.expect_none(Reason::kIdentityChanged);
    Stage shown;
    shown.measure();
    shown.plc([](PlcInputs& in) { in.identity.part_id = "ES-2"; });
    shown.expect_withdrawn(Reason::kIdentityChanged);
  };
  plays["identity_contradicts"] = [](Stage& s) {
    base::PartIdentity scanned;
    scanned.part_id = "ES-2";
    s.bench.send(PartAnnounced{.identity = scanned, .source = "the scanner"});
    s.ask();
    s.expect_none(Reason::kIdentityContradicts);
  };
  plays["attempt_contradicts"] = [](Stage& s) {
    s.measure(Verdict::kReject);
    s.empty_the_bench();
    s.plc([](PlcInputs& in) { in.attempt = 1; });
    s.bench.plc_changes([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 2;
      in.recipe = 12;
      in.identity.part_id = "ES-1";
    });
    EXPECT_EQ(s.bench.signal().attempt, 2);
    s.expect_refused();
  };
  plays["identity_missing"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 1;
      in.recipe = 12;
    });
    s.expect_none(Reason::kPartIdMissing);
  };
  plays["history_missing"] = [](Stage& s) {
    s.ask();
    s.plc([](PlcInputs& in) { in.identity.batch = "too late"; });
    s.finish();
    EXPECT_FALSE(s.bench.recorded().back().identity.batch.has_value());
    EXPECT_FALSE(s.bench.recorded().back().identity.wheel.has_value());
  };
}

void add_plan(Plays& plays) {
  const auto changed = [](Reason reason, auto change) {
    return [=](Stage& s) {
      s.ask();
      s.plc(change);
      s.expect_none(reason);
    };
  };
  const auto other_recipe = [](PlcInputs& in) { in.recipe = 11; };
  const auto other_stage = [](PlcInputs& in) { in.identity.stage = 1; };
  plays["recipe_late"] = changed(Reason::kPlanChanged, other_recipe);
  plays["recipe_changed"] = changed(Reason::kPlanChanged, other_recipe);
  plays["stage_late"] = changed(Reason::kPlanChanged, other_stage);
  plays["stage_changed"] = changed(Reason::kPlanChanged, other_stage);
  plays["recipe_unknown"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 1;
      in.identity.part_id = "ES-1";
    });
    s.expect_none(Reason::kUnknownRecipe);
    EXPECT_EQ(s.bench.signal().fate, base::Fate::kQuarantine);
  };
  plays["stage_contradicts"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 1;
      in.recipe = 12;
      in.identity.part_id = "ES-1";
      in.identity.stage = 1;
    });
    s.expect_none(Reason::kStageContradictsPlan);
  };
  plays["stage_missing"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 1;
      in.recipe = 12;
      in.identity.part_id = "ES-1";
    });
    s.finish();
    EXPECT_FALSE(s.bench.recorded().back().identity.stage.has_value());
    EXPECT_EQ(s.bench.recorded().back().plan_stage, 2);
  };
  plays["change_late"] = [](Stage& s) {
    s.ask();
    s.plc([](PlcInputs& in) {
      in.recipe = 11;
      in.identity.stage = 1;
    });
    s.expect_none(Reason::kPlanChanged);
    s.empty_the_bench();
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 2;
      in.recipe = 11;
      in.identity = {};
      in.identity.part_id = "ES-2";
      in.identity.stage = 1;
    });
    s.finish();
    EXPECT_EQ(s.bench.recorded().back().plan, "two crests, ground");
  };
  plays["change_and_back"] = [](Stage& s) {
    s.ask();
    s.plc([](PlcInputs& in) { in.recipe = 11; });
    s.plc([](PlcInputs& in) { in.recipe = 12; });
    s.expect_none(Reason::kPlanChanged);
  };
  plays["change_half"] = [](Stage& s) {
    s.plc([](PlcInputs& in) {
      in.part_present = true;
      in.request_id = 1;
      in.recipe = 11;
      in.identity.part_id = "ES-1";
      in.identity.stage = 2;
    });
    s.expect_none(Reason::kStageContradictsPlan);
  };
  plays["change_missing"] = [](Stage& s) {
    s.ask();
    s.bench.to_the_last_traverse();
    s.bench.ledger_takes_traverse();
    s.bench.analysis_says(Verdict::kNone, Reason::kNotThisPart);
    s.expect_none(Reason::kNotThisPart);
    EXPECT_EQ(s.bench.signal().fate, base::Fate::kQuarantine);
  };
}

}  // namespace

void add_asking_plays(Plays& plays) {
  add_requests(plays);
  add_presence(plays);
  add_identity(plays);
  add_plan(plays);
}

}  // namespace crestgate::cell
