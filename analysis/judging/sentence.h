// SPDX-License-Identifier: Apache-2.0
#pragma once
// One plain sentence about a judged parameter.

#include <string>

#include "base/judgement.h"

namespace crestgate::analysis {

// Purpose   "Ra 0.52 um on crest A is above its upper limit 0.40 um" for a broken limit, "closest to its
//           limit: Rmr(5%,1.0um) 63.2 % on crest A, at least 50 %" for a kept one.
// Method    one decimal more than the limit has, at least two for micrometres, and more while value and limit
//           would look alike without being so.
// Pre       the result was accepted or rejected.
std::string sentence_about(const base::ParameterResult& result);

}  // namespace crestgate::analysis
