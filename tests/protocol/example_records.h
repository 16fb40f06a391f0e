// SPDX-License-Identifier: Apache-2.0
#pragma once
// Records in which every field has a value of its own, so that a swapped field shows.

#include <cstdint>
#include <string>

#include "base/record.h"

namespace crestgate::protocol {

base::Traverse example_traverse();
base::Judgement example_judgement();
base::Event example_event();
base::Document example_document();

// A small event that says `text`.
base::Record note(const std::string& text);

// Heights of a sum of two waves, `samples` long.
base::Traverse long_traverse(std::size_t samples);

}  // namespace crestgate::protocol
