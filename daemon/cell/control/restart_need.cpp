// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/control/restart_need.h"

#include <algorithm>
#include <array>
#include <string_view>

#include "daemon/cell/config/cell_description.h"
#include "daemon/cell/config/document.h"

namespace crestgate::cell {
namespace {

constexpr std::array<std::string_view, 3> kExchanged = {"plan", "timing", "bypass"};

// The same but for where it stands in its file.
bool says_the_same(const Node& a, const Node& b) {
  if (a.value.index() != b.value.index()) return false;
  if (const auto* table = std::get_if<Node::Table>(&a.value)) {
    const auto& other = std::get<Node::Table>(b.value);
    return std::ranges::equal(*table, other, [](const Member& left, const Member& right) {
      return left.key == right.key && says_the_same(left.node, right.node);
    });
  }
  if (const auto* elements = std::get_if<Node::Array>(&a.value)) {
    return std::ranges::equal(*elements, std::get<Node::Array>(b.value), says_the_same);
  }
  // What is left are plain values, which variants compare.
  return std::visit(
      [&](const auto& value) {
        using Value = std::decay_t<decltype(value)>;
        if constexpr (std::is_same_v<Value, Node::Table> || std::is_same_v<Value, Node::Array>) {
          return false;
        } else {
          return value == std::get<Value>(b.value);
        }
      },
      a.value);
}

// The first key of `root` that `other` does not hold with the same meaning.
std::optional<std::string> difference(const Node& root, const Node& other) {
  for (const Member& member : std::get<Node::Table>(root.value)) {
    if (std::ranges::find(kExchanged, member.key) != kExchanged.end()) continue;
    const Node* same = member_of(other, member.key);
    if (same == nullptr || !says_the_same(member.node, *same)) return member.key;
  }
  return std::nullopt;
}

}  // namespace

std::optional<std::string> needs_a_restart(const CellDescription& running, const CellDescription& read) {
  const auto before = parse_document(running.document.content, running.document.source);
  const auto after = parse_document(read.document.content, read.document.source);
  if (!before) return before.error().detail;
  if (!after) return after.error().detail;
  auto key = difference(*before, *after);
  if (!key) key = difference(*after, *before);
  for (std::size_t i = 0; !key && i < running.outputs.size(); ++i) {
    if (running.outputs[i].dialect_document == read.outputs[i].dialect_document) continue;
    key = "dialect of output '" + running.outputs[i].name + "'";
  }
  if (!key) return std::nullopt;
  return *key + " differs from the running cell: that needs a restart";
}

}  // namespace crestgate::cell
