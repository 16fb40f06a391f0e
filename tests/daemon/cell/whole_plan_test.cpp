// SPDX-License-Identifier: Apache-2.0
// What the ledger keeps of a plan with a family explains itself.
#include <filesystem>
#include <fstream>
#include <random>
#include <string>

#include <gtest/gtest.h>

#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/config/plan_description.h"
#include "daemon/cell/config/toml_text.h"

namespace crestgate::cell {
namespace {

const std::filesystem::path kExamples =
    std::filesystem::path(CRESTGATE_SOURCE_DIR) / "packaging" / "examples" / "plans";

PlanDescription read_example(const std::string& name) {
  const std::string path = (kExamples / name).string();
  const auto text = read_text_file(path);
  EXPECT_TRUE(text.has_value()) << text.error().detail;
  auto plan = read_plan(*text, path);
  EXPECT_TRUE(plan.has_value()) << plan.error().detail;
  return *plan;
}

TEST(WholePlan, APlanWithoutFamilyIsKeptByteForByte) {
  for (const char* name : {"eccentric-finished.toml", "eccentric-ground.toml"}) {
    const PlanDescription plan = read_example(name);
    EXPECT_EQ(plan.document.content, *read_text_file((kExamples / name).string()));
    EXPECT_TRUE(plan.made_of.empty());
    const auto again = read_complete_plan(plan.document.content, plan.document.source);
    ASSERT_TRUE(again.has_value()) << again.error().detail;
    EXPECT_EQ(*again, plan);
  }
}

TEST(WholePlan, APlanWithAFamilyIsReadAgainAsTheSamePlanWithoutAnyFile) {
  const PlanDescription plan = read_example("eccentric-35-finished.toml");
  EXPECT_EQ(plan.name, "ES-35 finished");
  EXPECT_EQ(plan.document.source, "eccentric-35-finished.toml");
  const auto again = read_complete_plan(plan.document.content, plan.document.source);
  ASSERT_TRUE(again.has_value()) << again.error().detail << "\n" << plan.document.content;
  EXPECT_EQ(*again, plan);
  EXPECT_EQ(again->document.content, plan.document.content);
}

// Digests: sha256sum of the two files.
TEST(WholePlan, ItsHeadNamesBothFilesWithTheirDigests) {
  const auto plan =
      read_plan_with_family({.text = "format = 1\nfamily = \"f.toml\"\nname = \"P\"\n", .source = "a/p.toml"},
                            {.text = "format = 1\n", .source = "a/f.toml"});
  EXPECT_FALSE(plan.has_value());  // nothing to measure
  const PlanDescription whole = read_example("eccentric-35-finished.toml");
  const auto digest = [](const std::string& name) {
    const std::string command = "sha256sum " + (kExamples / name).string();
    FILE* pipe = popen(command.c_str(), "r");
    std::string found(64, ' ');
    EXPECT_EQ(fread(found.data(), 1, found.size(), pipe), found.size());
    pclose(pipe);
    return found;
  };
  const std::string head =
      "# One plan, made of these two files; it needs neither of them any more.\n"
      "#   plan    eccentric-35-finished.toml  sha256 " +
      digest("eccentric-35-finished.toml") + "\n#   family  eccentric-family.toml  sha256 " +
      digest("eccentric-family.toml") +
      "\n\nmade_of = [\"eccentric-35-finished.toml\", \"eccentric-family.toml\"]\nformat = 1\n";
  EXPECT_EQ(whole.document.content.substr(0, head.size()), head);
}

// The ES-35 of the examples is the family's ES-20 with what its own file says.
TEST(WholePlan, TheBiggerSisterTakesItsFamilysNumbers) {
  const PlanDescription plan = read_example("eccentric-35-finished.toml");
  const PlanDescription small = read_example("eccentric-finished.toml");
  ASSERT_EQ(plan.part_plan.zones.size(), 3U);
  const auto& zone = plan.part_plan.zones[0];
  EXPECT_EQ(zone.limits[0].upper, 0.16);
  EXPECT_EQ(zone.limits[1], small.part_plan.zones[0].limits[1]);
  EXPECT_EQ(plan.traverses[0].length_mm, 12.0);
  EXPECT_EQ(plan.traverses[0].spacing_mm, small.traverses[0].spacing_mm);
  EXPECT_EQ(zone.settings.face->skew->radius_mm, 38.0);
  EXPECT_EQ(plan.sampling, (SamplingPlan{.every = 5, .after_dress = true, .after_reject = 10}));
  EXPECT_EQ(plan.on_not_sampled, base::Fate::kPassUnmeasured);
  EXPECT_EQ(plan.part_plan.zones[2].name, "journal");
}

// The family says nothing that the ES-20 does not say.
TEST(WholePlan, TheSmallerSisterCouldBeSaidWithTheFamilyToo) {
  const std::string family = *read_text_file((kExamples / "eccentric-family.toml").string());
  const auto plan = read_plan_with_family(
      {.text = "format = 1\nname = \"ES-20 finished\"\npart = \"eccentric shaft ES-20\"\n"
               "stage = {number = 2, name = \"finished\"}\n"
               "[[zone]]\nname = \"crest B\"\nface_length_mm = 14.0\n"
               "[[zone]]\nname = \"crest A\"\nface_length_mm = 14.0\n"
               "face = {edge_mm = 0.5, radius_mm = 22, most_skew_degrees = 0.5}\n",
       .source = "plan.toml"},
      {.text = family, .source = "eccentric-family.toml"});
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  PlanDescription wanted = read_example("eccentric-finished.toml");
  wanted.document = plan->document;
  wanted.made_of = plan->made_of;
  EXPECT_EQ(*plan, wanted);
}

TEST(WholePlan, ACompletePlanOpensNoFile) {
  const auto plan = read_complete_plan("format = 1\nfamily = \"f.toml\"\n", "plan.toml");
  ASSERT_FALSE(plan.has_value());
  EXPECT_EQ(plan.error().detail, "plan.toml line 2: family: expected a plan that is complete in itself");
}

TEST(WholePlan, LettersOutsideOfAsciiComeThrough) {
  const std::string family =
      "format = 1\n" + *read_text_file((kExamples / "eccentric-finished.toml").string());
  std::string shared = family.substr(family.find("part_id"));
  const auto plan = read_plan_with_family(
      {.text = "format = 1\nname = \"Exzenter für 8 µm\"\npart = \"Welle \\\"Ø\\\"\\n\\t\"\n"
               "stage = {number = 2, name = \"fertig\"}\n",
       .source = "\xFF\"pr\xC3\xBC\x01.toml"},
      {.text = "format = 1\n" + shared, .source = "µ.toml"});
  ASSERT_TRUE(plan.has_value()) << plan.error().detail;
  EXPECT_EQ(plan->name, "Exzenter für 8 µm");
  EXPECT_EQ(plan->part, "Welle \"Ø\"\n\t");
  EXPECT_EQ(plan->made_of[0], "??pr?? .toml");
  EXPECT_EQ(plan->made_of[1], "µ.toml");
  auto again = read_complete_plan(plan->document.content, plan->document.source);
  ASSERT_TRUE(again.has_value()) << again.error().detail;
  EXPECT_EQ(*again, *plan);
}

// A plan cut at random into what it says itself and what its family says, and numbers changed in the plan: the
// whole is the plan with the changed numbers.
TEST(WholePlan, ItDoesNotMatterWhichOfTheFilesSaysWhat) {
  const std::string text = *read_text_file((kExamples / "eccentric-finished.toml").string());
  const auto wanted = read_complete_plan(text, "plan.toml");
  ASSERT_TRUE(wanted.has_value());
  for (std::uint64_t seed = 1; seed <= 60; ++seed) {
    std::mt19937_64 generator(seed);
    const auto some = [&generator] { return generator() % 3 == 0; };
    const auto tree = parse_document(text, "plan.toml");
    Node plan{.value = Node::Table{}};
    Node family{.value = Node::Table{}};
    const auto put = [](Node& node, const Member& member) {
      std::get<Node::Table>(node.value).push_back(member);
    };
    const auto split = [&](const Node& from, Node& own, Node& shared, std::string_view named,
                           auto&& again) -> void {
      for (const Member& member : std::get<Node::Table>(from.value)) {
        const bool is_name =
            member.key == named || member.key == "reference_percent" || member.key == "depth_um";
        const auto* entries = std::get_if<Node::Array>(&member.node.value);
        if (entries != nullptr) {
          Node::Array of_own;
          Node::Array of_shared;
          for (const Node& entry : *entries) {
            Node a{.value = Node::Table{}};
            Node b{.value = Node::Table{}};
            again(entry, a, b, member.key == "zone" ? "name" : "parameter", again);
            of_own.push_back(std::move(a));
            of_shared.push_back(std::move(b));
          }
          put(own, {member.key, Node{.value = std::move(of_own)}});
          put(shared, {member.key, Node{.value = std::move(of_shared)}});
          continue;
        }
        if (is_name || member.key == "format") {
          put(own, member);
          put(shared, member);
        } else if (&from == &*tree && (member.key == "name" || member.key == "stage")) {
          put(own, member);
        } else if (some()) {
          put(own, member);
          if (some()) put(shared, {member.key, Node{.value = std::int64_t{-7}}});  // the plan wins
        } else {
          put(shared, member);
        }
      }
    };
    split(*tree, plan, family, "", split);
    auto whole = read_plan_with_family({.text = toml_text(plan), .source = "plan.toml"},
                                       {.text = toml_text(family), .source = "family.toml"});
    ASSERT_TRUE(whole.has_value()) << "seed " << seed << ": " << whole.error().detail << toml_text(plan)
                                   << "\n----\n"
                                   << toml_text(family);
    const auto again = read_complete_plan(whole->document.content, "plan.toml");
    ASSERT_TRUE(again.has_value()) << again.error().detail;
    EXPECT_EQ(*again, *whole) << "seed " << seed;
    whole->document = wanted->document;
    whole->made_of.clear();
    EXPECT_EQ(*whole, *wanted) << "seed " << seed;
  }
}

}  // namespace
}  // namespace crestgate::cell
