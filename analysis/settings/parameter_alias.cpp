// SPDX-License-Identifier: Apache-2.0
#include "analysis/settings/parameter_alias.h"

#include <algorithm>
#include <array>
#include <iterator>
#include <utility>

namespace crestgate::analysis {
namespace {

struct Alias {
  std::string_view older;  // behind R, W or P when the alias is one of a family
  std::string_view symbol;
  std::string_view note;
};

constexpr std::string_view kSpacingNote =
    "ISO 4287:1997 counted elements per sampling length and by other thresholds: here over the evaluation "
    "length, "
    "with the thresholds of the plan";
constexpr std::string_view kMaxNote = "the largest section height, the same number";
constexpr std::string_view kDifferenceNote =
    "here over the evaluation length, the ratios are part of the symbol";
constexpr std::string_view kGradientNote =
    "here over the evaluation length, ISO 4287:1997 took the mean over sampling lengths";
constexpr std::string_view kCoreNote =
    "ISO 13565-1 filtered twice and cut the valleys off in between (two-step filter); with another filter "
    "the number "
    "differs";

// After R, W or P. Delta in UTF-8: small CE B4, capital CE 94, and the increment sign that looks like it, E2
// 88 86.
constexpr std::array<Alias, 15> kFamilyAliases = {{{"Sm", "sm", kSpacingNote},
                                                   {"Pc", "pc", kSpacingNote},
                                                   {"max", "zx", kMaxNote},
                                                   {"z1max", "zx", kMaxNote},
                                                   {"\xCE\xB4"
                                                    "c",
                                                    "dc", kDifferenceNote},
                                                   {"\xCE\x94"
                                                    "c",
                                                    "dc", kDifferenceNote},
                                                   {"\xCE\x94q", "dq", kGradientNote},
                                                   {"\xCE\xB4q", "dq", kGradientNote},
                                                   {"\xCE\x94"
                                                    "a",
                                                    "da", kGradientNote},
                                                   {"\xCE\xB4"
                                                    "a",
                                                    "da", kGradientNote},
                                                   {"\xE2\x88\x86"
                                                    "c",
                                                    "dc", kDifferenceNote},
                                                   {"\xE2\x88\x86q", "dq", kGradientNote},
                                                   {"\xE2\x88\x86"
                                                    "a",
                                                    "da", kGradientNote},
                                                   {"mr1", "mrk1", kCoreNote},
                                                   {"mr2", "mrk2", kCoreNote}}};

constexpr std::array<Alias, 9> kWholeNames = {
    {{"Mr1", "Rmrk1", kCoreNote},
     {"Mr2", "Rmrk2", kCoreNote},
     {"A1", "Rak1", kCoreNote},
     {"A2", "Rak2", kCoreNote},
     {"CLA", "Ra", "centre line average, the same mean; older instruments filtered differently"},
     {"AA", "Ra", "arithmetical average, the same mean; older instruments filtered differently"},
     {"RMS", "Rq", "ISO 4287:1997 took the mean over sampling lengths, here over the evaluation length"},
     {"Sm", "Rsm", kSpacingNote},
     {"Rtm", "Rz", "mean of the section heights, the same number"}}};

struct Remark {
  std::string_view name;
  std::string_view text;
};

constexpr std::string_view kTenPoint =
    "the ten-point height of ISO 4287-1:1984 is not computed: write Rz (mean of the section heights) or R10z "
    "(five "
    "peaks and five pits) and set its limit anew";

constexpr std::array<Remark, 9> kRemarks = {
    {{"Ry",
      "stood for different heights in older standards: write Rz (mean of the section heights), Rzx (largest "
      "section "
      "height) or Rt (over the evaluation length)"},
     {"RzJIS", kTenPoint},
     {"Rzjis", kTenPoint},
     {"RzISO", kTenPoint},
     {"Rz(ISO)", kTenPoint},
     {"Rz(JIS)", kTenPoint},
     {"Rz10", kTenPoint},
     {"tp",
      "the bearing length of older standards does not say where its height counts from: write Rmr(0.5um), or "
      "Rmr(5%,1.0um) for a depth below a reference ratio"},
     {"Rtp",
      "the bearing length of older standards does not say where its height counts from: write Rmr(0.5um), or "
      "Rmr(5%,1.0um) for a depth below a reference ratio"}}};

bool is_profile(char letter) { return letter == 'R' || letter == 'W' || letter == 'P'; }

// Name and what follows from its first bracket on.
std::pair<std::string_view, std::string_view> split_at_bracket(std::string_view text) {
  const std::size_t bracket = std::min(text.find('('), text.size());
  return {text.substr(0, bracket), text.substr(bracket)};
}

base::Result<ResolvedName> replaced(std::string_view text) {
  const auto [name, bracket] = split_at_bracket(text);
  const auto named = [name = name](const auto& entry) { return entry.older == name; };
  if (const auto whole = std::ranges::find_if(kWholeNames, named); whole != kWholeNames.end()) {
    return ResolvedName{std::string(whole->symbol) + std::string(bracket), std::string(whole->note)};
  }
  if (name.empty() || !is_profile(name[0])) return ResolvedName{std::string(text), ""};
  const auto family = std::ranges::find(kFamilyAliases, name.substr(1), &Alias::older);
  if (family == kFamilyAliases.end()) return ResolvedName{std::string(text), ""};
  if (family->symbol == "pc" && !bracket.empty()) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "'" + std::string(text) +
                           "' counts peaks between two levels, which is not computed: write " + name[0] +
                           "pc (peaks per cm, from the mean spacing of the elements)"};
  }
  return ResolvedName{name[0] + std::string(family->symbol) + std::string(bracket),
                      std::string(family->note)};
}

}  // namespace

base::Result<ResolvedName> resolve_parameter_name(std::string_view written) {
  std::string text;
  std::ranges::copy_if(written, std::back_inserter(text), [](char c) { return c != ' ' && c != '\t'; });
  const auto refused = std::ranges::find_if(kRemarks, [&](const Remark& remark) {
    return remark.name == text || remark.name == split_at_bracket(text).first;
  });
  if (refused != kRemarks.end()) {
    return base::Error{base::ErrorCode::kInvalidConfig, "'" + text + "': " + std::string(refused->text)};
  }
  auto resolved = replaced(text);
  if (!resolved || !is_ratio_symbol(resolved->symbol)) return resolved;
  const auto ratio = parse_ratio_symbol(resolved->symbol);
  if (!ratio) return ratio.error();
  resolved->symbol = symbol_of(*ratio);
  resolved->ratio = *ratio;
  return resolved;
}

}  // namespace crestgate::analysis
