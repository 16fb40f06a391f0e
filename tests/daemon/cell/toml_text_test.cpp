// SPDX-License-Identifier: Apache-2.0
// What is written is read back as the same, whatever the tree.
#include "daemon/cell/config/toml_text.h"

#include <bit>
#include <cstdint>
#include <limits>
#include <random>
#include <string>
#include <utility>

#include <gtest/gtest.h>

#include "daemon/cell/config/document.h"

namespace crestgate::cell {
namespace {

Node node(decltype(Node::value) value) { return Node{.value = std::move(value)}; }

TEST(TomlText, ListsOfTablesStandUnderHeadersAfterEverythingElse) {
  const Node limit = node(Node::Table{{"parameter", node(std::string("Ra"))}, {"upper", node(0.25)}});
  const Node zone = node(Node::Table{{"name", node(std::string("crest \"A\""))},
                                     {"limit", node(Node::Array{limit, limit})},
                                     {"traverses", node(std::int64_t{1})},
                                     {"texture", node(Node::Table{{"form", node(std::string("arc"))}})}});
  const Node root = node(Node::Table{{"zone", node(Node::Array{zone})}, {"format", node(std::int64_t{1})}});
  EXPECT_EQ(toml_text(root),
            "format = 1\n"
            "\n[[zone]]\n"
            "name = \"crest \\\"A\\\"\"\n"
            "traverses = 1\n"
            "texture = {form = \"arc\"}\n"
            "\n[[zone.limit]]\n"
            "parameter = \"Ra\"\n"
            "upper = 0.25\n"
            "\n[[zone.limit]]\n"
            "parameter = \"Ra\"\n"
            "upper = 0.25\n");
}

// A number stays a number of its kind: TOML 1.0.0, "Float" wants a point or an exponent.
TEST(TomlText, NumbersReadBackAsThemselves) {
  for (const double number :
       {0.0, -0.0, 1.0, 0.1, 1e22, 1e-7, 5e-324, 1.7976931348623157e308, -2.5,
        std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity(), std::nan("")}) {
    const Node root = node(Node::Table{{"n", node(number)}});
    const auto again = parse_document(toml_text(root), "x");
    ASSERT_TRUE(again.has_value()) << toml_text(root) << again.error().detail;
    EXPECT_TRUE(same_content(*again, root)) << toml_text(root);
  }
  for (const std::int64_t number : {std::int64_t{0}, std::numeric_limits<std::int64_t>::min(),
                                    std::numeric_limits<std::int64_t>::max()}) {
    const Node root = node(Node::Table{{"n", node(number)}});
    const auto again = parse_document(toml_text(root), "x");
    ASSERT_TRUE(again.has_value()) << again.error().detail;
    EXPECT_TRUE(same_content(*again, root));
  }
}

TEST(TomlText, ContentIsTheSameOnlyWhereEveryValueIs) {
  const Node one = node(Node::Table{{"a", node(1.0)}, {"b", node(true)}});
  EXPECT_TRUE(same_content(one, node(Node::Table{{"b", node(true)}, {"a", node(1.0)}})));
  EXPECT_FALSE(same_content(one, node(Node::Table{{"b", node(true)}, {"a", node(std::int64_t{1})}})));
  EXPECT_FALSE(same_content(one, node(Node::Table{{"b", node(true)}, {"c", node(1.0)}})));
  EXPECT_FALSE(same_content(one, node(Node::Table{{"a", node(1.0)}})));
  EXPECT_FALSE(same_content(node(0.0), node(-0.0)));
  EXPECT_FALSE(same_content(node(Node::Array{}), node(Node::Table{})));
}

class RandomTree {
 public:
  explicit RandomTree(std::uint64_t seed) : generator_(seed) {}

  Node table(int depth) {
    Node::Table members;
    for (std::uint64_t i = below(5); i > 0; --i) {
      const std::string key = text();
      if (member_of(node(members), key) == nullptr) members.push_back({key, value(depth - 1)});
    }
    return node(std::move(members));
  }

 private:
  std::uint64_t below(std::uint64_t end) { return generator_() % end; }

  // Letters of every length in UTF-8, quotes, escapes, control characters, and what TOML gives a meaning.
  std::string text() {
    static const char* const kPieces[] = {
        "a", "Z",  "0",  "_",    "-",    ".", " ", "\"", "\\", "'", "#", "=",  "[",
        "]", "\n", "\t", "\x01", "\x7F", "µ", "Ф", "€",  "{",  ",", "}", "\r", "\xF0\x9F\x94\xA7"};
    std::string made;
    for (std::uint64_t i = below(6); i > 0; --i) made += kPieces[below(std::size(kPieces))];
    return made;
  }

  Node value(int depth) {
    switch (below(depth > 0 ? 8 : 5)) {
      case 0:
        return node(below(2) == 1);
      case 1:
        return node(std::bit_cast<std::int64_t>(generator_() >> below(64)));
      case 2:
        return node(std::bit_cast<double>(generator_()));
      case 3:
        return node(static_cast<double>(below(2000)) / 8.0 - 100.0);
      case 4:
        return node(text());
      case 5:
        return table(depth);
      default:
        break;
    }
    Node::Array elements;
    const bool tables = below(2) == 1;
    for (std::uint64_t i = below(4); i > 0; --i) elements.push_back(tables ? table(depth) : value(depth - 1));
    return node(std::move(elements));
  }

  std::mt19937_64 generator_;
};

TEST(TomlText, RandomTreesAreReadBackAsTheyWere) {
  for (std::uint64_t seed = 1; seed <= 5000; ++seed) {
    const Node tree = RandomTree(seed).table(4);
    const std::string written = toml_text(tree);
    const auto again = parse_document(written, "x");
    ASSERT_TRUE(again.has_value()) << "seed " << seed << ": " << again.error().detail << "\n" << written;
    ASSERT_TRUE(same_content(*again, tree)) << "seed " << seed << "\n" << written;
    EXPECT_EQ(toml_text(*again), written) << "seed " << seed;
  }
}

}  // namespace
}  // namespace crestgate::cell
