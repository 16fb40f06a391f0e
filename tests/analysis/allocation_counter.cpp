// SPDX-License-Identifier: Apache-2.0
// Replaces the global operator new of its program.
#include "analysis/allocation_counter.h"

#include <cstdlib>
#include <new>

namespace crestgate::analysis {

std::atomic<std::size_t> allocations{0};

}  // namespace crestgate::analysis

namespace {

void* counted(std::size_t size) {
  ++crestgate::analysis::allocations;
  if (void* memory = std::malloc(size == 0 ? 1 : size)) return memory;
  throw std::bad_alloc();
}

}  // namespace

void* operator new(std::size_t size) { return counted(size); }
void* operator new[](std::size_t size) { return counted(size); }
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete[](void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }
void operator delete[](void* memory, std::size_t) noexcept { std::free(memory); }
