// SPDX-License-Identifier: Apache-2.0
// A face that is not that of the plan's part gives no judgement, whatever its texture.
#include <cmath>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/faces.h"
#include "analysis/judging/part_judge.h"
#include "analysis/profiles.h"
#include "base/traverse.h"

namespace crestgate::analysis {
namespace {

using base::Reason;
using base::Verdict;
using testing::HasSubstr;

constexpr double kSpacing = 0.0005;
constexpr double kStep = 0.0005;

struct Surface {
  double radius_mm = 22.0;  // of the arc along the trace; infinite: straight
  double face_mm = 100.0;   // its edges are chamfered at 45 degrees
  double trace_mm = 5.6;
  double middle_mm = 2.8;  // of the face, on the trace
  double rough_um = 0.3;   // scale of the roughness; 1: faces::ground
  std::uint64_t seed = 1;
};

// A circle's own heights, no parabola's.
std::vector<std::int32_t> counts_of(const Surface& surface) {
  const auto count = static_cast<std::size_t>(std::lround(surface.trace_mm / kSpacing));
  const auto rough = faces::ground({.sample_count = count, .seed = surface.seed});
  std::vector<std::int32_t> counts(count);
  for (std::size_t i = 0; i < count; ++i) {
    const double u_mm = static_cast<double>(i) * kSpacing - surface.middle_mm;
    double z_um = surface.rough_um * rough[i];
    if (std::isfinite(surface.radius_mm)) {
      z_um += 1000.0 * (std::sqrt(surface.radius_mm * surface.radius_mm - u_mm * u_mm) - surface.radius_mm);
    }
    z_um -= 1000.0 * std::max(0.0, std::abs(u_mm) - 0.5 * surface.face_mm);
    counts[i] = static_cast<std::int32_t>(std::lround(z_um / kStep));
  }
  return counts;
}

ZonePlan zone_of(const std::string& name, FormKind form, double upper_ra_um = 1.0) {
  ZonePlan zone;
  zone.name = name;
  zone.settings.form.kind = form;
  zone.limits = {{.symbol = "Ra",
                  .unit = "um",
                  .lower = std::nullopt,
                  .upper = upper_ra_um,
                  .rule = base::AcceptanceRule::kMaximum}};
  return zone;
}

PartPlan arc_plan(double upper_ra_um = 1.0) {
  ZonePlan zone = zone_of("crest A", FormKind::kArc, upper_ra_um);
  zone.identity.radius_mm = Band{21.8, 22.2};
  return {.zones = {zone}};
}

PartPlan length_plan() {
  ZonePlan zone = zone_of("crest A", FormKind::kLine);
  zone.identity.face_length_mm = Band{13.5, 14.5};
  return {.zones = {zone}};
}

TraceInput trace_of(const std::vector<std::int32_t>& counts, std::uint32_t zone_index = 0) {
  return {.zone_index = zone_index, .spacing_mm = kSpacing, .height_step_um = kStep, .counts = counts};
}

PartDecision judged(const PartPlan& plan, const Surface& surface) {
  const auto counts = counts_of(surface);
  const TraceInput trace = trace_of(counts);
  PartJudge judge(plan);
  return judge.judge(std::span(&trace, 1));
}

constexpr double kStraight = std::numeric_limits<double>::infinity();

TEST(Identity, ThePlansPartIsJudged) {
  EXPECT_EQ(judged(arc_plan(), {}).verdict, Verdict::kAccept);
  EXPECT_EQ(judged(arc_plan(0.05), {}).verdict, Verdict::kReject);
  const Surface face{.radius_mm = kStraight, .face_mm = 14.0, .trace_mm = 16.0, .middle_mm = 8.0};
  EXPECT_EQ(judged(length_plan(), face).verdict, Verdict::kAccept);
}

TEST(Identity, AnotherRadiusIsAnotherPartAndNeverAReject) {
  for (const double upper_ra_um : {1.0, 0.05}) {  // kept and broken
    const PartDecision decision = judged(arc_plan(upper_ra_um), {.radius_mm = 25.0, .rough_um = 0.2});
    EXPECT_EQ(decision.verdict, Verdict::kNone);
    EXPECT_EQ(decision.reason, Reason::kNotThisPart);
    EXPECT_EQ(decision.fate, base::Fate::kMeasureAgain);
    EXPECT_FALSE(decision.deciding.has_value());
    EXPECT_THAT(decision.detail, HasSubstr("zone 'crest A': fitted radius 2"));
    EXPECT_THAT(decision.detail, HasSubstr(" mm, the plan's part has 21.8 to 22.2 mm"));
    for (const auto& result : decision.results) EXPECT_EQ(result.verdict, Verdict::kNone) << result.symbol;
  }
  EXPECT_EQ(judged(arc_plan(), {.radius_mm = 25.0, .rough_um = 0.0001}).detail,
            "zone 'crest A': fitted radius 25.00 mm, the plan's part has 21.8 to 22.2 mm");
  EXPECT_EQ(judged(arc_plan(), {.radius_mm = 22.2004, .rough_um = 0.0001}).detail,
            "zone 'crest A': fitted radius 22.2004 mm, the plan's part has 21.8 to 22.2 mm");
  EXPECT_THAT(judged(arc_plan(), {.radius_mm = 12.0}).detail, HasSubstr("fitted radius 1"));
  const PartDecision straight = judged(arc_plan(), {.radius_mm = kStraight});
  EXPECT_EQ(straight.reason, Reason::kNotThisPart);
}

// Tolerance: five times dR = R^2 / L^2 sqrt(720 / n) s of circle_arc.h, L = 4 mm, the roughness changing every 6 um
// (n = 667) with a standard deviation of at most 0.5 um: 5 * 0.0157 mm at 22 mm, by R^2 elsewhere.
TEST(Identity, ARadiusIsFoundUnderRoughness) {
  for (const double radius_mm : {5.0, 22.0, 60.0}) {
    const double tolerance_mm = 5.0 * 0.0157 * radius_mm * radius_mm / (22.0 * 22.0);
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
      PartPlan plan = arc_plan();
      const Surface surface{.radius_mm = radius_mm, .rough_um = 1.0, .seed = seed};
      plan.zones[0].identity.radius_mm = Band{radius_mm - tolerance_mm, radius_mm + tolerance_mm};
      EXPECT_EQ(judged(plan, surface).verdict, Verdict::kAccept) << judged(plan, surface).detail;
      plan.zones[0].identity.radius_mm = Band{radius_mm + tolerance_mm, radius_mm + 3.0 * tolerance_mm};
      EXPECT_EQ(judged(plan, surface).reason, Reason::kNotThisPart);
    }
  }
}

TEST(Identity, AnotherFaceLengthIsAnotherPart) {
  const auto of = [](double face_mm) {
    return judged(length_plan(),
                  {.radius_mm = kStraight, .face_mm = face_mm, .trace_mm = 18.0, .middle_mm = 9.0});
  };
  EXPECT_EQ(of(13.5).verdict, Verdict::kAccept);  // 13.54 mm, 20 um down
  EXPECT_EQ(of(14.4).verdict, Verdict::kAccept);
  const PartDecision shorter = of(12.4);
  EXPECT_EQ(shorter.reason, Reason::kNotThisPart);
  EXPECT_THAT(shorter.detail, HasSubstr("zone 'crest A': face length 12.4"));
  EXPECT_THAT(shorter.detail, HasSubstr("mm, the plan's part has 13.5 to 14.5 mm"));
  EXPECT_EQ(of(15.2).reason, Reason::kNotThisPart);
  EXPECT_EQ(of(1.0).reason, Reason::kNotThisPart);
}

TEST(Identity, ALengthThatIsNotShownIsNotThisPart) {
  const auto of = [](double face_mm, double middle_mm) {
    return judged(length_plan(),
                  {.radius_mm = kStraight, .face_mm = face_mm, .trace_mm = 16.0, .middle_mm = middle_mm});
  };
  EXPECT_EQ(of(40.0, 8.0).reason, Reason::kNotThisPart);
  EXPECT_EQ(of(40.0, 8.0).detail,
            "zone 'crest A': face length not measured, the surface does not fall away at either end of the "
            "traverse; "
            "the plan's part has 13.5 to 14.5 mm");
  EXPECT_THAT(of(14.0, 6.0).detail, HasSubstr("does not fall away at the start of the traverse"));
  EXPECT_THAT(of(14.0, 10.0).detail, HasSubstr("does not fall away at the end of the traverse"));
}

// The evaluation length with half a cut-off about it is 4.8 mm in the middle of the trace.
TEST(Identity, AFaceLaidSoThatItDoesNotHoldWhatIsEvaluatedIsNotJudged) {
  PartPlan plan = length_plan();
  plan.zones[0].identity.face_length_mm = Band{5.5, 6.5};
  const Surface surface{.radius_mm = kStraight, .face_mm = 6.0, .trace_mm = 16.0, .middle_mm = 8.0};
  EXPECT_EQ(judged(plan, surface).verdict, Verdict::kAccept) << judged(plan, surface).detail;
  Surface aside = surface;
  aside.middle_mm = 9.5;
  const PartDecision decision = judged(plan, aside);
  EXPECT_EQ(decision.verdict, Verdict::kNone);
  EXPECT_EQ(decision.reason, Reason::kNotThisPart);
  EXPECT_THAT(decision.detail, HasSubstr("the face lies from 6.4"));
  EXPECT_THAT(decision.detail, HasSubstr("does not hold what is evaluated, 5.60 to 10.40 mm"));
}

TEST(Identity, BothBandsAreHeldBehindAnArc) {
  PartPlan plan = arc_plan();
  plan.zones[0].identity.face_length_mm = Band{13.5, 14.5};
  const Surface surface{.face_mm = 14.0, .trace_mm = 16.0, .middle_mm = 8.0, .rough_um = 1.0};
  EXPECT_EQ(judged(plan, surface).verdict, Verdict::kAccept) << judged(plan, surface).detail;
  Surface other = surface;
  other.face_mm = 13.0;
  EXPECT_THAT(judged(plan, other).detail, HasSubstr("face length 13.0"));
  other.radius_mm = 30.0;
  EXPECT_THAT(judged(plan, other).detail, HasSubstr("fitted radius"));
}

TEST(Identity, OneStrangeZoneLeavesThePartWithoutAJudgement) {
  PartPlan plan = arc_plan();
  plan.zones.push_back(zone_of("crest B", FormKind::kLine, 0.01));  // broken
  const auto strange = counts_of({.radius_mm = 25.0});
  const auto right = counts_of({});
  const auto rough = counts_of({.radius_mm = kStraight});
  PartJudge judge(plan);
  const TraceInput wrong_part[] = {trace_of(strange, 0), trace_of(rough, 1)};
  EXPECT_EQ(judge.judge(wrong_part).reason, Reason::kNotThisPart);
  const TraceInput right_part[] = {trace_of(right, 0), trace_of(rough, 1)};
  EXPECT_EQ(judge.judge(right_part).verdict, Verdict::kReject);
}

// Also one that comes later: nobody knows whose the trace is that cannot be used.
TEST(Identity, ATraceThatCannotBeUsedKeepsItsOwnReason) {
  PartPlan plan = arc_plan();
  plan.zones.push_back(zone_of("crest B", FormKind::kLine));
  const auto strange = counts_of({.radius_mm = 25.0});
  auto damaged = counts_of({.radius_mm = kStraight});
  damaged[100] = base::kMissingCount;
  PartJudge judge(plan);
  const TraceInput traces[] = {trace_of(strange, 0), trace_of(damaged, 1)};
  EXPECT_EQ(judge.judge(traces).reason, Reason::kTraceMissingSamples);
  const TraceInput missing[] = {trace_of(strange, 0)};
  EXPECT_EQ(judge.judge(missing).reason, Reason::kTooFewValues);
}

// A number that does not exist on a strange face is no news.
TEST(Identity, AStrangeFaceComesBeforeADoubtAboutItsNumbers) {
  PartPlan plan = arc_plan();
  plan.zones.insert(plan.zones.begin(), zone_of("journal", FormKind::kLine));
  plan.zones[0].settings.waves = WaveBand{.shortest_mm = 0.8, .longest_mm = 5.0};
  plan.zones[0].limits = {{.symbol = "WaveSpacing",
                           .unit = "mm",
                           .lower = std::nullopt,
                           .upper = 9.0,
                           .rule = base::AcceptanceRule::kMaximum}};
  const auto calm = counts_of({.radius_mm = kStraight});
  const auto strange = counts_of({.radius_mm = 25.0});
  const auto right = counts_of({});
  PartJudge judge(plan);
  const TraceInput usual[] = {trace_of(calm, 0), trace_of(right, 1)};
  EXPECT_EQ(judge.judge(usual).reason, Reason::kParameterUndefined);
  const TraceInput traces[] = {trace_of(calm, 0), trace_of(strange, 1)};
  EXPECT_EQ(judge.judge(traces).reason, Reason::kNotThisPart);
  EXPECT_FALSE(judge.judge(traces).deciding.has_value());
}

TEST(Identity, EveryTraverseIsHeldAgainstTheBand) {
  PartPlan plan = arc_plan();
  plan.zones[0].traverses = 3;
  const auto right = counts_of({});
  const auto strange = counts_of({.radius_mm = 25.0, .rough_um = 0.0001});
  const TraceInput traces[] = {trace_of(right), trace_of(strange), trace_of(right)};
  PartJudge judge(plan);
  EXPECT_EQ(judge.judge(traces).detail,
            "zone 'crest A', traverse 2: fitted radius 25.00 mm, the plan's part has 21.8 to 22.2 mm");
}

TEST(Identity, ASkiddedPickupSeesNoForm) {
  const auto counts = counts_of({});
  TraceInput trace = trace_of(counts);
  trace.pickup = base::Pickup::kSkidded;
  PartJudge judge(arc_plan());
  EXPECT_EQ(judge.judge(std::span(&trace, 1)).reason, Reason::kPickupSkidded);
}

TEST(Identity, APlanThatDoesNotMeasureItIsNoPlan) {
  const auto fault = [](auto&& change) {
    PartPlan plan = arc_plan();
    change(plan.zones[0]);
    const auto checked = check_plan(plan);
    return checked ? std::string() : checked.error().detail;
  };
  EXPECT_EQ(fault([](ZonePlan&) {}), "");
  EXPECT_THAT(fault([](ZonePlan& zone) { zone.settings.form.kind = FormKind::kLine; }),
              HasSubstr("zone 'crest A': a radius is measured only where the form is an arc"));
  EXPECT_THAT(fault([](ZonePlan& zone) { zone.settings.form.radius_mm = 22.0; }),
              HasSubstr("none is measured"));
  for (const Band& band : {Band{0.0, 1.0}, Band{2.0, 1.0}, Band{1.0, kStraight}, Band{std::nan(""), 1.0}}) {
    EXPECT_THAT(fault([&](ZonePlan& zone) { zone.identity.radius_mm = band; }),
                HasSubstr("positive lengths"));
    EXPECT_THAT(fault([&](ZonePlan& zone) { zone.identity.face_length_mm = band; }),
                HasSubstr("the face length of the plan's part"));
  }
}

}  // namespace
}  // namespace crestgate::analysis
