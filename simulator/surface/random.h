// SPDX-License-Identifier: Apache-2.0
#pragma once
// Random numbers that are the same on every machine: the generator and its distributions come from one
// library and are not left to the standard library's implementer.

#include <cstdint>
#include <string_view>

#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>

namespace crestgate::simulator {

// A seed of its own for everything that has a name or a number, so that adding one thing to a scenario leaves
// the random numbers of all others alone.
// Method  FNV-1a over the bytes, then the finaliser of splitmix64 (Steele, Lea, Flood 2014).
std::uint64_t derive_seed(std::uint64_t seed, std::string_view name);
std::uint64_t derive_seed(std::uint64_t seed, std::uint64_t number);

class RandomStream {
 public:
  explicit RandomStream(std::uint64_t seed) : generator_(seed) {}

  double uniform() { return uniform_(generator_); }  // in [0, 1)
  double normal() { return normal_(generator_); }    // mean 0, standard deviation 1
  std::uint64_t bits() { return generator_(); }

 private:
  boost::random::mt19937_64 generator_;
  boost::random::uniform_01<double> uniform_;
  boost::random::normal_distribution<double> normal_;
};

}  // namespace crestgate::simulator
