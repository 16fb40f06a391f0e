// SPDX-License-Identifier: Apache-2.0
#pragma once
// How parameters are called.

#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/texture/texture_settings.h"

namespace crestgate::analysis {

struct ParameterName {
  std::string symbol;  // ISO 21920-2 where it has one
  std::string unit;    // "um", "mm", "%", "um2/mm", "1/cm", "" for a pure number
  friend bool operator==(const ParameterName&, const ParameterName&) = default;
};

// Purpose   everything that a computation with these settings can give, in its order.
// Symbols   ISO 21920-2:2021 (from memory), for R, W and P alike, with the letter of the profile in front:
//           a q sk ku pt vt t p v z zx | al sw | dq da dt dl dr | sm smx smq c cx cq pc |
//           pd vd mpc mvc 5p 5v 10z | k pk vk mrk1 mrk2 ak1 ak2 pkx vkx | pq vq mq | vmp vmc vvc vvv.
//           Settings are part of a symbol: texture/ratio_symbol.h. Our own, only with a wave band or a face:
//           waves/WAVES.md.
std::vector<ParameterName> parameter_names(const TextureSettings& settings);

// Those that every judgement records, limited or not.
std::vector<ParameterName> routine_names(const TextureSettings& settings);

// Those of parameter_names whose symbol is among `symbols`, in the order of parameter_names.
std::vector<ParameterName> selected_names(const TextureSettings& settings,
                                          std::span<const std::string> symbols);

// Purpose   the sentence for a symbol that the settings do not give, with the nearest ones that they do.
std::string no_such_parameter(std::string_view symbol, const TextureSettings& settings);

// Whether a symbol is the mean of section values (Rp, Rv, Rz and those of W and P): limits are held against
// these.
bool is_taken_in_sections(std::string_view symbol);

// Whether a number follows from the settings alone, so that a limit on it would judge nothing.
bool follows_from_the_plan(std::string_view symbol);

// Whether a symbol is one of our own about waves or the form of the face.
bool is_of_waves_or_face(std::string_view symbol);

// Whether a symbol speaks about waves or form, which a skidded pickup cannot see: W, P, waves and face.
bool needs_skidless_pickup(std::string_view symbol);

}  // namespace crestgate::analysis
