// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/plan_family.h"

#include <filesystem>
#include <span>
#include <system_error>
#include <utility>

#include "base/digest.h"
#include "daemon/cell/config/family_merge.h"
#include "daemon/cell/config/plain_text.h"
#include "daemon/cell/config/table_reader.h"
#include "daemon/cell/config/toml_text.h"
#include "protocol/convert/digest.h"

namespace crestgate::cell {
namespace {

constexpr std::string_view kMadeOfKey = "made_of";

// The file's name without folders, as it can stand in a document: on one line and in UTF-8.
std::string shown_name(const std::string& source) {
  std::string name = on_one_line(std::filesystem::path(source).filename().string());
  const bool is_text = !plain_text("name = \"" + name + "\"").complaint;
  for (char& c : name) {
    if (!is_text && (static_cast<unsigned char>(c) >= 0x80 || c == '"' || c == '\\')) c = '?';
  }
  return name;
}

std::string line_about(const std::string& role, const SourceText& file) {
  return "#   " + role + shown_name(file.source) + "  sha256 " +
         base::to_hex(protocol::digest_of(std::as_bytes(std::span(file.text)))) + "\n";
}

void refuse(const Node& tree, std::string_view key, const std::string& what, Complaints& complaints) {
  if (const Node* node = member_of(tree, key)) complaints.at(node->place, std::string(key) + ": " + what);
}

void check_family(const Node& family, Complaints& complaints) {
  refuse(family, kFamilyKey, "a family has no family of its own", complaints);
  for (const std::string_view key : {std::string_view("name"), std::string_view("stage"), kMadeOfKey}) {
    refuse(family, key, "stands in a plan, never in a family", complaints);
  }
  TableReader(family, "", complaints).integer("format", 1, 1);
}

void check_plan(const Node& plan, Complaints& complaints) {
  refuse(plan, kMadeOfKey, "stands in a plan that is complete in itself, this one has a family", complaints);
  TableReader(plan, "", complaints).integer("format", 1, 1);
}

Node text_node(std::string text) { return Node{.value = std::move(text)}; }

}  // namespace

base::Result<FamilyFile> read_family_file(const Node& plan, const std::string& source) {
  Complaints complaints(source);
  TableReader root(plan, "", complaints);
  const std::string name = root.text(kFamilyKey);
  if (complaints.first()) return *complaints.first();
  const std::string path = (std::filesystem::path(source).parent_path() / name).string();
  std::error_code not_there;
  if (std::filesystem::equivalent(path, source, not_there)) {
    root.complain(kFamilyKey, "a plan is not its own family");
    return *complaints.first();
  }
  auto text = read_text_file(path);
  if (!text) {
    root.complain(kFamilyKey, text.error().detail);
    return *complaints.first();
  }
  return FamilyFile{.path = path, .text = std::move(*text)};
}

base::Result<WholePlan> make_whole_plan(const SourceText& plan, const SourceText& family) {
  auto plan_tree = parse_document(plan.text, plan.source);
  if (!plan_tree) return plan_tree.error();
  const auto family_tree = parse_document(family.text, family.source);
  if (!family_tree) return family_tree.error();
  Complaints complaints(plan.source);
  check_family(*family_tree, complaints);
  check_plan(*plan_tree, complaints);
  if (complaints.first()) return *complaints.first();
  std::erase_if(std::get<Node::Table>(plan_tree->value),
                [](const Member& member) { return member.key == kFamilyKey; });
  WholePlan whole{.tree = merge_family(*plan_tree, *family_tree, complaints), .text = {}};
  if (complaints.first()) return *complaints.first();
  Node made_of{.value =
                   Node::Array{text_node(shown_name(plan.source)), text_node(shown_name(family.source))}};
  auto& members = std::get<Node::Table>(whole.tree.value);
  members.insert(members.begin(), Member{std::string(kMadeOfKey), std::move(made_of)});
  whole.text = "# One plan, made of these two files; it needs neither of them any more.\n" +
               line_about("plan    ", plan) + line_about("family  ", family) + "\n" + toml_text(whole.tree);
  const auto again = parse_document(whole.text, plan.source);
  if (!again || !same_content(*again, whole.tree)) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       on_one_line(plan.source + ": plan and family cannot be written down as one" +
                                   (again ? std::string() : ": " + again.error().detail))};
  }
  return whole;
}

}  // namespace crestgate::cell
