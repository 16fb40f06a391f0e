// SPDX-License-Identifier: Apache-2.0
#pragma once
// The part of a zone that says how its profile is turned into numbers.

#include <span>
#include <string_view>
#include <utility>

#include "analysis/texture/texture_settings.h"
#include "base/judgement.h"
#include "daemon/cell/config/table_reader.h"

namespace crestgate::cell {

// Names of the filters and end rules, the same in plans, options and answers.
std::span<const std::pair<std::string_view, analysis::FilterKind>> filter_names();
std::span<const std::pair<std::string_view, analysis::EndRule>> end_rule_names();

std::string_view name_of(analysis::FilterKind filter);
std::string_view name_of(analysis::EndRule ends);

// Purpose   the tables `texture`, `prepare`, `waves` and `face` of a zone.
// Method    lengths come from a setting class that the plan names, or are stated one by one, or follow from
//           the limits (analysis/settings/setting_class.h).
// Pre       limits: of the zone, symbols canonical.
// Errors    complaints of the reader.
analysis::TextureSettings read_texture(TableReader& zone, std::span<const base::Limit> limits);

}  // namespace crestgate::cell
