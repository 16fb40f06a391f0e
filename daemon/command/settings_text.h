// SPDX-License-Identifier: Apache-2.0
#pragma once
// Settings in a few words.

#include <string>

#include "analysis/texture/texture_settings.h"

namespace crestgate::command {

// "line", "arc:25", "poly:3": as --form takes it.
std::string form_text(const analysis::FormRemoval& form);

// "Sc3: lambda_s 2.5 um, lambda_c 0.8 mm", with lambda_f where there is one.
std::string lengths_text(const analysis::TextureSettings& settings);

}  // namespace crestgate::command
