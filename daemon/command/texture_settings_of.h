// SPDX-License-Identifier: Apache-2.0
#pragma once
// From the options of `crestgate texture` to settings.

#include "analysis/texture/texture_settings.h"
#include "base/result.h"
#include "daemon/command/commands.h"
#include "daemon/command/trace_source.h"

namespace crestgate::command {

// Purpose   the settings of the plan's zone, or those of ISO 21920-3 (from memory) changed by the options
//           given. Without a class and without lengths: Sc3. Waves, unless the options say otherwise, from
//           0.5 mm to half the trace.
// Errors    kInvalidConfig, kTooShort with one line: which option, what was expected and found.
base::Result<analysis::TextureSettings> texture_settings_of(const TextureOptions& options,
                                                            const Trace& trace);

}  // namespace crestgate::command
