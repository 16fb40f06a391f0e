// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/random.h"

namespace crestgate::simulator {

namespace {

std::uint64_t scramble(std::uint64_t x) {
  x += 0x9E3779B97F4A7C15U;
  x = (x ^ (x >> 30U)) * 0xBF58476D1CE4E5B9U;
  x = (x ^ (x >> 27U)) * 0x94D049BB133111EBU;
  return x ^ (x >> 31U);
}

}  // namespace

std::uint64_t derive_seed(std::uint64_t seed, std::string_view name) {
  std::uint64_t hash = 0xCBF29CE484222325U;
  for (const char c : name) {
    hash ^= static_cast<std::uint8_t>(c);
    hash *= 0x100000001B3U;
  }
  return scramble(scramble(seed) ^ hash);
}

std::uint64_t derive_seed(std::uint64_t seed, std::uint64_t number) {
  return scramble(scramble(seed) + 0x632BE59BD9B4E019U * (number + 1));
}

}  // namespace crestgate::simulator
