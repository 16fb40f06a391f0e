// SPDX-License-Identifier: Apache-2.0
#pragma once
// Names of parameters as people write them, older standards included, and the symbol that is computed.

#include <optional>
#include <string>
#include <string_view>

#include "analysis/texture/ratio_symbol.h"
#include "base/result.h"

namespace crestgate::analysis {

struct ResolvedName {
  std::string symbol;  // ISO 21920-2 where it has one; an unknown name as written, without blanks
  std::string note;    // how the number differs from what the older name stood for; "" for a current name
  std::optional<RatioSymbol> ratio = std::nullopt;  // the settings inside the symbol, if it has some
  friend bool operator==(const ResolvedName&, const ResolvedName&) = default;
};

// Purpose   the symbol under which a parameter is computed, limited and published.
// Method    blanks are dropped. Names of ISO 4287:1997 and ISO 13565 are replaced: RSm, RPc, Rmax,
//           Rz1max, R delta c and R delta q (delta as Greek letter, "d" is the current form), Rmr1, Mr1,
//           Mr2, A1, A2, and those of ISO 4287-1:1984 and its contemporaries that mean one thing only:
//           CLA, AA, RMS, Sm, Rtm; with W or P in place of R where the old standard had it. Brackets
//           stay, and a material ratio or height difference is brought to its canonical spelling
//           (ratio_symbol.h).
// Errors    kInvalidConfig with the reason and what to write instead: a name that stood for something
//           that is not computed (ten-point height), for different things in different standards (Ry), or
//           for counts between two levels (RPc with brackets); a ratio symbol that parse_ratio_symbol
//           refuses.
// Source    ISO 21920-2:2021 against ISO 4287:1997 and ISO 13565-2:1996 - from memory.
base::Result<ResolvedName> resolve_parameter_name(std::string_view written);

}  // namespace crestgate::analysis
