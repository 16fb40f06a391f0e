// SPDX-License-Identifier: Apache-2.0
#pragma once
// How long to wait before the next attempt to connect.

#include <algorithm>
#include <chrono>
#include <cstdint>
#include <random>

namespace crestgate::driver {

// Purpose  waits that double from `shortest` to `longest`, each made longer by up to a half (but never beyond
//          `longest`), so that many clients of one peer that came back do not come at the same instant.
// Pre      0 < shortest <= longest
class Backoff {
 public:
  using Wait = std::chrono::milliseconds;

  Backoff(Wait shortest, Wait longest, std::uint64_t seed)
      : shortest_(shortest), longest_(longest), base_(shortest), chance_(seed) {}

  [[nodiscard]] Wait next() {
    const Wait least = std::max(shortest_, std::min(base_, longest_ * 2 / 3));
    const Wait most = std::min(least * 3 / 2, longest_);
    base_ = std::min(2 * base_, longest_);
    return Wait(
        std::uniform_int_distribution<Wait::rep>(least.count(), std::max(least, most).count())(chance_));
  }
  // The peer answered: the next failure starts from the shortest wait.
  void reset() { base_ = shortest_; }

 private:
  Wait shortest_;
  Wait longest_;
  Wait base_;
  std::mt19937_64 chance_;
};

}  // namespace crestgate::driver
