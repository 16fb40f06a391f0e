// SPDX-License-Identifier: Apache-2.0
#pragma once
// Counts every allocation of the program that links allocation_counter.cpp.

#include <atomic>
#include <cstddef>

namespace crestgate::analysis {

extern std::atomic<std::size_t> allocations;

}  // namespace crestgate::analysis
