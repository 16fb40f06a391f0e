// SPDX-License-Identifier: Apache-2.0
// Names from a scanner, measurements asked for by hand, other plans in mid-production.

#include <algorithm>

#include "daemon/cell/ready_cycle.h"

namespace crestgate::cell {
namespace {

using base::Lamp;
using base::Reason;
using base::Verdict;

base::PartIdentity named(const std::string& part, const std::string& batch = "") {
  base::PartIdentity identity;
  identity.part_id = part;
  if (!batch.empty()) identity.batch = batch;
  return identity;
}

void finish(CycleBench& bench) {
  bench.to_the_last_traverse();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  bench.stylus_clears();
}

// A part is present, nobody asked yet and the PLC knows no name.
void lay_part(CycleBench& bench, std::uint16_t request = 0) {
  base::PlcInputs inputs;
  inputs.part_present = true;
  inputs.recipe = 12;
  inputs.request_id = request;
  bench.plc(inputs);
}

TEST_F(ReadyCycle, AScannedNameCountsForThePartOnTheBench) {
  lay_part(bench);
  bench.send(PartAnnounced{.identity = named("ES-7", "B-3"), .source = "the scanner"});
  lay_part(bench, 1);
  finish(bench);
  EXPECT_EQ(bench.recorded().back().identity.part_id, "ES-7");
  EXPECT_EQ(bench.recorded().back().identity.batch, "B-3");
  EXPECT_EQ(bench.signal().part_id, "ES-7");
}

TEST_F(ReadyCycle, AScannedNameCountsForTheNextPartWhenTheBenchIsEmpty) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  lay_part(bench, 1);
  finish(bench);
  EXPECT_EQ(bench.recorded().back().identity.part_id, "ES-7");
}

TEST_F(ReadyCycle, AScannedNameIsNeverCarriedOver) {
  lay_part(bench);
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  bench.plc({});  // the part leaves unmeasured
  lay_part(bench, 1);
  expect_none(Reason::kPartIdMissing);
}

TEST_F(ReadyCycle, AScannedNameStaysWithItsPartAsLongAsThatLiesThere) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  lay_part(bench, 1);
  finish(bench);
  lay_part(bench, 0);
  lay_part(bench, 2);
  EXPECT_EQ(bench.signal().part_id, "ES-7");
  EXPECT_EQ(bench.signal().attempt, 2) << "asked again it is no new part";
}

TEST_F(ReadyCycle, ANameThatIsDroppedOrReplacedUnusedIsRecorded) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  bench.send(PartAnnounced{.identity = named("ES-8"), .source = "the scanner"});
  EXPECT_EQ(bench.noted().back(), "part_name_refused");
  EXPECT_NE(bench.signal().warnings & base::kWarnRequestRefused, 0);
  lay_part(bench);
  bench.plc({});
  EXPECT_EQ(std::ranges::count(bench.noted(), "part_name_refused"), 2);
}

TEST_F(ReadyCycle, AScannedNameIsUsedUpByItsPart) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  lay_part(bench, 1);
  finish(bench);
  bench.plc({});
  lay_part(bench, 2);
  expect_none(Reason::kPartIdMissing);
}

TEST_F(ReadyCycle, ANameScannedOverAStandingResultBelongsToNobody) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  bench.plc({});
  lay_part(bench, 2);
  expect_none(Reason::kPartIdMissing);
}

TEST_F(ReadyCycle, ANameThatIsTooOldIsForgotten) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  bench.pass_ms(121'000);
  lay_part(bench, 1);
  expect_none(Reason::kPartIdMissing);
}

TEST_F(ReadyCycle, ScannerAndPlcThatNameDifferentPartsContradict) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the scanner"});
  bench.request("ES-8");
  expect_none(Reason::kIdentityContradicts);
  EXPECT_NE(bench.recorded().back().detail.find("the scanner"), std::string::npos);
}

TEST_F(ReadyCycle, ManualTriggerMeasuresThePartOnTheBenchWithoutARequest) {
  lay_part(bench);
  bench.plc_changes([](base::PlcInputs& in) {
    in.identity.part_id = "ES-9";
    in.manual_trigger = true;
  });
  EXPECT_EQ(bench.phase(), Phase::kPositioning);
  finish(bench);
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
  EXPECT_EQ(bench.signal().request_echo, 0);
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
}

TEST_F(ReadyCycle, ManualTriggerThatStaysSetAsksOnlyOnce) {
  lay_part(bench);
  bench.plc_changes([](base::PlcInputs& in) {
    in.identity.part_id = "ES-9";
    in.manual_trigger = true;
  });
  finish(bench);
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  bench.plc_changes([](base::PlcInputs& in) { in.part_present = true; });
  EXPECT_EQ(bench.phase(), Phase::kIdle);
}

TEST_F(ReadyCycle, ManualTriggerWithoutAPartIsRefused) {
  bench.plc_changes([](base::PlcInputs& in) { in.manual_trigger = true; });
  EXPECT_EQ(bench.phase(), Phase::kIdle);
  EXPECT_NE(bench.signal().warnings & base::kWarnRequestRefused, 0);
}

TEST_F(ReadyCycle, ManualTriggerUnderAStandingRequestIsRefused) {
  bench.request("ES-1");
  bench.plc_changes([](base::PlcInputs& in) { in.manual_trigger = true; });
  EXPECT_NE(bench.signal().warnings & base::kWarnRequestRefused, 0);
  finish(bench);
  EXPECT_EQ(bench.signal().request_echo, 1);
}

TEST_F(ReadyCycle, ARequestInTheMiddleOfAManualMeasurementEndsIt) {
  lay_part(bench);
  bench.plc_changes([](base::PlcInputs& in) {
    in.identity.part_id = "ES-9";
    in.manual_trigger = true;
  });
  bench.plc_changes([](base::PlcInputs& in) { in.request_id = 5; });
  expect_none(Reason::kRequestWhileBusy);
}

TEST_F(ReadyCycle, NobodyMeasuresByHandWhereAPlcWatches) {
  EXPECT_TRUE(bench.cycle().refusal(MeasureAsked{.recipe = 12, .at_the_bench = true}).has_value());
}

struct BenchWithoutPlc : ReadyCycle {
  static CellDescription description(std::size_t zones) {
    CellDescription cell = two_zone_cell();
    cell.plc.heartbeat_required = false;
    cell.plans[0].plan.part_plan.zones.resize(zones);
    cell.plans[0].plan.traverses.resize(zones);
    return cell;
  }
  BenchWithoutPlc() : ReadyCycle(description(2)) {}
};

TEST_F(BenchWithoutPlc, IsWorkedByHand) {
  bench.send(PartAnnounced{.identity = named("ES-7"), .source = "the command line"});
  bench.send(MeasureAsked{.recipe = 12, .at_the_bench = true});
  EXPECT_EQ(bench.signal().zone_wanted, 1);
  bench.send(ZonePlaced{.zone = 1});
  bench.traverse_comes();
  bench.traverse_comes();
  bench.ledger_takes_traverse();
  bench.ledger_takes_traverse();
  bench.stylus_clears();
  bench.send(ZonePlaced{.zone = 2});
  bench.traverse_comes();
  bench.ledger_takes_traverse();
  bench.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  bench.ledger_takes_judgement();
  bench.stylus_clears();
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
  bench.pass_ms(20'000);
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen) << "nobody there can acknowledge";
  bench.send(PartTakenAway{});
  EXPECT_EQ(bench.signal().lamp, Lamp::kDark);
}

TEST_F(BenchWithoutPlc, WhatAPersonSaidCountsForNoPartOfThePlc) {
  CycleBench one({}, description(1));
  one.gauge_comes();
  one.send(PartAnnounced{.identity = named("ES-7"), .source = "the command line"});
  one.send(MeasureAsked{.recipe = 12, .at_the_bench = true});
  one.pass_ms(31'000);  // it never ends; somebody forgot to say that the part is gone
  one.plc_changes([](base::PlcInputs& in) { in.abort = true; });
  while (one.asks<RecordTraverse>()) one.ledger_takes_traverse();
  one.ledger_takes_judgement();
  one.stylus_clears();
  one.plc_changes([](base::PlcInputs& in) { in.abort = false; });
  one.pass_ms(121'000);
  one.request("ES-8", 3);
  EXPECT_EQ(one.phase(), Phase::kPositioning) << "the PLC says that no zone is in position";
  one.plc_changes([](base::PlcInputs& in) { in.part_present = false; });
  one.ledger_takes_judgement();
  EXPECT_EQ(one.recorded().back().reason, Reason::kPartLeft);
}

TEST_F(BenchWithoutPlc, GreenEndsWhenItsTimeIsUpAllTheSame) {
  CycleBench one({}, description(1));
  one.gauge_comes();
  one.send(PartAnnounced{.identity = named("ES-7"), .source = "the command line"});
  one.send(MeasureAsked{.recipe = 12, .at_the_bench = true});
  one.traverse_comes();
  one.traverse_comes();
  one.ledger_takes_traverse();
  one.ledger_takes_traverse();
  one.analysis_says(Verdict::kAccept, Reason::kAllWithinLimits);
  one.ledger_takes_judgement();
  EXPECT_EQ(one.signal().lamp, Lamp::kGreen);
  one.pass_ms(121'000);
  EXPECT_EQ(one.signal().lamp, Lamp::kDark);
}

// ---- other plans ----

std::shared_ptr<const CellDescription> other_plans() {
  auto cell = std::make_shared<CellDescription>(two_zone_cell());
  cell->plans[0].plan.name = "two crests, second edition";
  return cell;
}

DescriptionReceipts other_receipts() {
  DescriptionReceipts receipts;
  receipts.cell.number = 101;
  receipts.plans.push_back({.number = 102, .digest = {}});
  return receipts;
}

TEST_F(ReadyCycle, OtherPlansAreTakenUpAtOnceBetweenParts) {
  bench.send(PlansOffered{.cell = other_plans(), .receipts = other_receipts()});
  EXPECT_TRUE(bench.asks<PlansAdopted>());
  bench.measure("ES-1", Verdict::kAccept);
  EXPECT_EQ(bench.recorded().back().plan, "two crests, second edition");
  EXPECT_EQ(bench.recorded().back().cites.back().record_number, 101U);
}

TEST_F(ReadyCycle, APartInWorkIsFinishedUnderThePlanItWasBegunWith) {
  bench.request("ES-1");
  bench.send(PlansOffered{.cell = other_plans(), .receipts = other_receipts()});
  EXPECT_FALSE(bench.asks<PlansAdopted>());
  finish(bench);
  EXPECT_EQ(bench.recorded().back().plan, "two crests");
  EXPECT_EQ(bench.signal().lamp, Lamp::kGreen);
  bench.plc({});
  EXPECT_TRUE(bench.asks<PlansAdopted>());
}

TEST_F(ReadyCycle, ARecipeThatChangesUnderItsRequestGivesNoJudgement) {
  bench.request("ES-1");
  bench.plc_changes([](base::PlcInputs& in) { in.recipe = 11; });
  expect_none(Reason::kPlanChanged);
}

TEST_F(ReadyCycle, AStageThatChangesUnderAGreenTakesItBack) {
  bench.measure("ES-1", Verdict::kAccept);
  bench.plc_changes([](base::PlcInputs& in) { in.identity.stage = 1; });
  EXPECT_EQ(bench.signal().lamp, Lamp::kBlueFlashing);
  EXPECT_EQ(bench.signal().reason, Reason::kPlanChanged);
}

}  // namespace
}  // namespace crestgate::cell
