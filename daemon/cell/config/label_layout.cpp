// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/config/label_layout.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstddef>
#include <limits>
#include <system_error>
#include <utility>

namespace crestgate::cell {
namespace {

using base::ErrorCode;
using base::PartIdentity;

struct FieldName {
  std::string_view name;
  LabelField field;
};
constexpr std::array kFieldNames = {
    FieldName{"part_id", LabelField::kPartId},         FieldName{"batch", LabelField::kBatch},
    FieldName{"machine", LabelField::kMachine},        FieldName{"stage", LabelField::kStage},
    FieldName{"spindle", LabelField::kSpindle},        FieldName{"wheel", LabelField::kWheel},
    FieldName{"dress_count", LabelField::kDressCount},
};

// As wide as the PLC's block (protocol/registers).
constexpr std::size_t kLongestName = 32;
constexpr std::size_t kLongestMachine = 16;

std::string name_of(LabelField field) {
  for (const FieldName& entry : kFieldNames) {
    if (entry.field == field) return std::string(entry.name);
  }
  return "";
}

bool is_printable_ascii(char c) { return c >= 0x20 && c <= 0x7E; }

std::string_view without_blanks(std::string_view text) {
  constexpr std::string_view kBlanks = " \t";
  const std::size_t begin = text.find_first_not_of(kBlanks);
  if (begin == std::string_view::npos) return {};
  return text.substr(begin, text.find_last_not_of(kBlanks) - begin + 1);
}

// In one line, whatever was scanned.
std::string quoted(std::string_view text) {
  constexpr std::size_t kShown = 60;
  std::string shown(text.substr(0, kShown));
  std::replace_if(
      shown.begin(), shown.end(), [](char c) { return !is_printable_ascii(c); }, '?');
  return "\"" + shown + (text.size() > kShown ? "...\"" : "\"");
}

using Problem = std::optional<base::Error>;

Problem put_text(std::optional<std::string>& into, std::string_view value, std::size_t longest) {
  if (!std::all_of(value.begin(), value.end(), is_printable_ascii)) {
    return base::Error{ErrorCode::kMalformed, "expected printable ASCII, found " + quoted(value)};
  }
  if (value.size() > longest) {
    return base::Error{ErrorCode::kOutOfRange, "expected at most " + std::to_string(longest) +
                                                   " characters, found " + std::to_string(value.size())};
  }
  if (!value.empty()) into = std::string(value);
  return std::nullopt;
}

template <class Number>
Problem put_number(std::optional<Number>& into, std::string_view value) {
  if (value.empty()) return std::nullopt;
  Number number = 0;
  const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), number);
  if (error == std::errc::invalid_argument || end != value.data() + value.size()) {
    return base::Error{ErrorCode::kMalformed, "expected a whole number, found " + quoted(value)};
  }
  if (error != std::errc{}) {
    return base::Error{ErrorCode::kOutOfRange, "expected at most " +
                                                   std::to_string(std::numeric_limits<Number>::max()) +
                                                   ", found " + quoted(value)};
  }
  if (number != 0) into = number;
  return std::nullopt;
}

Problem put(PartIdentity& identity, LabelField field, std::string_view value) {
  switch (field) {
    case LabelField::kPartId:
      return put_text(identity.part_id, value, kLongestName);
    case LabelField::kBatch:
      return put_text(identity.batch, value, kLongestName);
    case LabelField::kMachine:
      return put_text(identity.machine, value, kLongestMachine);
    case LabelField::kStage:
      return put_number(identity.stage, value);
    case LabelField::kSpindle:
      return put_number(identity.spindle, value);
    case LabelField::kWheel:
      return put_number(identity.wheel, value);
    case LabelField::kDressCount:
      return put_number(identity.dress_count, value);
  }
  return std::nullopt;
}

}  // namespace

// ---- the layout ----

std::optional<std::string> LabelLayout::take_placeholder(std::string_view name) {
  const auto* const known = std::find_if(kFieldNames.begin(), kFieldNames.end(),
                                         [name](const FieldName& entry) { return entry.name == name; });
  if (known == kFieldNames.end()) {
    std::string names;
    for (const FieldName& entry : kFieldNames) names += (names.empty() ? "" : ", ") + std::string(entry.name);
    return "expected in braces one of: " + names + "; found " + quoted(name);
  }
  const std::string braced = "{" + std::string(name) + "}";
  for (const Slot& slot : slots_) {
    if (slot.field == known->field) return braced + " stands twice";
  }
  if (!slots_.empty() && slots_.back().after.empty()) {
    return "expected a text between {" + name_of(slots_.back().field) + "} and " + braced +
           ", which says where the first one ends";
  }
  slots_.push_back({.field = known->field, .after = {}});
  return std::nullopt;
}

std::optional<std::string> LabelLayout::take_all(std::string_view rest) {
  while (!rest.empty()) {
    const std::size_t place = text_.size() - rest.size() + 1;
    const std::size_t brace = rest.find_first_of("{}");
    if (brace != 0) {
      (slots_.empty() ? before_ : slots_.back().after) = std::string(rest.substr(0, brace));
      rest.remove_prefix(std::min(brace, rest.size()));
      continue;
    }
    const std::size_t end = rest.find_first_of("{}", 1);
    if (rest.front() == '}') return "the brace } at place " + std::to_string(place) + " closes nothing";
    if (end == std::string_view::npos || rest[end] == '{') {
      return "the brace { at place " + std::to_string(place) + " is never closed";
    }
    if (auto problem = take_placeholder(rest.substr(1, end - 1))) return problem;
    rest.remove_prefix(end + 1);
  }
  if (slots_.empty()) return "expected at least one placeholder, for example {part_id}";
  return std::nullopt;
}

base::Result<LabelLayout> LabelLayout::parse(std::string_view text) {
  LabelLayout layout;
  layout.text_ = without_blanks(text);
  const bool controls = std::any_of(layout.text_.begin(), layout.text_.end(), [](char c) {
    const auto byte = static_cast<unsigned char>(c);
    return byte < 0x20 || byte == 0x7F;
  });
  std::optional<std::string> problem = layout.take_all(layout.text_);
  if (controls) problem = "expected no control characters";
  if (problem) {
    return base::Error{ErrorCode::kInvalidConfig, "label " + quoted(layout.text_) + ": " + *problem};
  }
  return layout;
}

// ---- a line ----

base::Result<PartIdentity> LabelLayout::read(std::string_view line) const {
  const std::string_view whole = without_blanks(line);
  const auto mismatch = [&](const std::string& what) {
    return base::Error{ErrorCode::kMalformed,
                       "the label " + quoted(whole) + " is not of the form " + quoted(text_) + ": " + what};
  };
  if (!whole.starts_with(before_)) return mismatch("expected " + quoted(before_) + " at its begin");
  std::string_view rest = whole.substr(before_.size());
  PartIdentity identity;
  for (const Slot& slot : slots_) {
    const std::size_t end = slot.after.empty() ? rest.size() : rest.find(slot.after);
    if (end == std::string_view::npos) {
      return mismatch("expected " + quoted(slot.after) + " after " + name_of(slot.field));
    }
    if (const auto problem = put(identity, slot.field, without_blanks(rest.substr(0, end)))) {
      return base::Error{problem->code,
                         "the label " + quoted(whole) + ": " + name_of(slot.field) + ": " + problem->detail};
    }
    rest.remove_prefix(end + slot.after.size());
  }
  if (!rest.empty()) return mismatch("expected its end before " + quoted(rest));
  if (identity == PartIdentity{}) {
    return base::Error{ErrorCode::kNoData, "the label " + quoted(whole) + " names nothing"};
  }
  return identity;
}

}  // namespace crestgate::cell
