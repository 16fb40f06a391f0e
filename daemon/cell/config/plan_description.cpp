// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plan_description.h"

#include <array>
#include <filesystem>
#include <optional>
#include <utility>

#include "daemon/cell/config/plan_family.h"
#include "daemon/cell/config/table_reader.h"
#include "daemon/cell/config/zone_description.h"

namespace crestgate::cell {
namespace {

using base::Fate;

constexpr std::array<std::pair<std::string_view, Fate>, 3> kRejectFates = {
    {{"quarantine", Fate::kQuarantine}, {"rework", Fate::kRework}, {"scrap", Fate::kScrap}}};
constexpr std::array<std::pair<std::string_view, Fate>, 2> kNoneFates = {
    {{"measure again", Fate::kMeasureAgain}, {"quarantine", Fate::kQuarantine}}};
constexpr std::array<std::pair<std::string_view, Fate>, 2> kNotSampledFates = {
    {{"pass unmeasured", Fate::kPassUnmeasured}, {"quarantine", Fate::kQuarantine}}};
constexpr std::array<std::pair<std::string_view, bool>, 2> kNeeds = {
    {{"required", true}, {"optional", false}}};

constexpr std::int64_t kMostSkipped = 10'000;

void read_sampling(TableReader& root, PlanDescription& plan) {
  if (auto table = root.table_if_given("sampling")) {
    SamplingPlan& sampling = plan.sampling;
    sampling.every = static_cast<std::uint32_t>(table->integer("every", 1, kMostSkipped));
    sampling.after_dress = table->truth_if_given("after_dress").value_or(sampling.after_dress);
    sampling.after_reject = static_cast<std::uint32_t>(
        table->integer_if_given("after_reject", 0, kMostSkipped).value_or(sampling.after_reject));
    table->finish();
  }
  const auto fate = root.choice_if_given<Fate>("on_not_sampled", kNotSampledFates);
  if (fate) plan.on_not_sampled = *fate;
  if (!fate && plan.sampling.every > 1) {
    root.miss("on_not_sampled", ", and the sampling passes over parts");
  }
}

// `content`: the text that the tree was read from.
base::Result<PlanDescription> plan_in(const Node& tree, std::string content, const std::string& source) {
  Complaints complaints(source);
  TableReader root(tree, "", complaints);
  PlanDescription plan;
  root.integer("format", 1, 1);
  plan.name = root.text("name");
  plan.part = root.text("part");
  TableReader stage = root.table("stage");
  plan.stage_number = static_cast<std::uint16_t>(stage.integer("number", 1, 65535));
  plan.stage_name = stage.text("name");
  stage.finish();
  plan.part_id_required = root.choice<bool>("part_id", kNeeds);
  plan.attempts_allowed = static_cast<std::uint32_t>(root.integer("attempts_allowed", 1, 1000));
  plan.on_reject = root.choice<Fate>("on_reject", kRejectFates);
  plan.on_none = root.choice<Fate>("on_none", kNoneFates);
  read_sampling(root, plan);
  plan.made_of = root.texts_if_given("made_of");
  if (!complaints.first()) read_zones(root, complaints, plan);
  if (!complaints.first()) root.finish();
  if (complaints.first()) return *complaints.first();
  plan.document = {.kind = base::DocumentKind::kPlan,
                   .name = plan.name,
                   .source = std::filesystem::path(source).filename().string(),
                   .content = std::move(content),
                   .recorded_utc = {}};
  return plan;
}

}  // namespace

base::Result<PlanDescription> read_complete_plan(std::string_view text, const std::string& source) {
  const auto tree = parse_document(text, source);
  if (!tree) return tree.error();
  if (const Node* family = member_of(*tree, kFamilyKey)) {
    Complaints complaints(source);
    complaints.at(family->place, "family: expected a plan that is complete in itself");
    return *complaints.first();
  }
  return plan_in(*tree, std::string(text), source);
}

base::Result<PlanDescription> read_plan_with_family(const SourceText& plan, const SourceText& family) {
  auto whole = make_whole_plan(plan, family);
  if (!whole) return whole.error();
  return plan_in(whole->tree, std::move(whole->text), plan.source);
}

base::Result<PlanDescription> read_plan(std::string_view text, const std::string& source) {
  const auto tree = parse_document(text, source);
  if (!tree) return tree.error();
  if (member_of(*tree, kFamilyKey) == nullptr) return plan_in(*tree, std::string(text), source);
  const auto family = read_family_file(*tree, source);
  if (!family) return family.error();
  return read_plan_with_family({.text = text, .source = source},
                               {.text = family->text, .source = family->path});
}

base::Fate fate_of(const PlanDescription& plan, base::Verdict verdict) {
  switch (verdict) {
    case base::Verdict::kAccept:
      return Fate::kPass;
    case base::Verdict::kReject:
      return plan.on_reject;
    case base::Verdict::kNone:
      break;
  }
  return plan.on_none;
}

}  // namespace crestgate::cell
