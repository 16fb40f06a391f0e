// SPDX-License-Identifier: Apache-2.0
#pragma once
// How every command ends.

#include <string_view>

#include "base/result.h"

namespace crestgate::command {

constexpr int kFine = 0;
constexpr int kAnswerIsNo = 1;   // rejected, changed, out of control
constexpr int kCouldNotRun = 2;  // bad input or usage

enum class Format { kText, kJson };

// One line on standard error: "crestgate: <detail>". Returns kCouldNotRun.
int could_not_run(const base::Error& error);
int could_not_run(std::string_view detail);

// "0.1.0": goes into every judgement and event.
std::string_view software_version();

}  // namespace crestgate::command
