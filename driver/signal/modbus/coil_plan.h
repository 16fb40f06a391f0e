// SPDX-License-Identifier: Apache-2.0
#pragma once
// What to write next to a row of coils, and what the answer means. Pure; time is an argument.

#include <chrono>
#include <optional>
#include <span>
#include <vector>

namespace crestgate::driver {

// Promise  nothing is lit before everything off was confirmed on this connection and since the last doubt; off
//          comes before on; what set() did not repeat within `told_within` is off.
class CoilPlan {
 public:
  using Time = std::chrono::steady_clock::time_point;

  // Pre  count is at least 1
  CoilPlan(std::size_t count, std::chrono::milliseconds told_within)
      : told_within_(told_within), wanted_(count, false), shown_(count, false) {}

  void want(std::span<const bool> lit, Time now);

  // What the coils should be written to now.
  [[nodiscard]] std::vector<bool> target(Time now);

  // `written` is about to be sent.
  void begin(const std::vector<bool>& written) { under_way_ = written; }
  // The coils were read back: as `written`, or not.
  void confirmed(const std::vector<bool>& written, Time now);
  void mismatched(const std::vector<bool>& written);
  // The coils are in an unknown state: no answer, an exception, a new connection.
  void doubt();

  // True: what set() asked for is what was read back last, and nothing else is under way.
  [[nodiscard]] bool shows_wanted() const;
  [[nodiscard]] std::optional<Time> confirmed_at() const { return confirmed_at_; }
  [[nodiscard]] bool has_fault() const { return fault_.has_value(); }
  [[nodiscard]] std::vector<bool> dark() const { return std::vector<bool>(wanted_.size(), false); }

 private:
  std::chrono::milliseconds told_within_;
  std::vector<bool> wanted_;
  Time told_ = Time::min();
  std::vector<bool> shown_;  // as confirmed last
  bool known_ = false;       // `shown_` is what the coils are
  std::optional<std::vector<bool>> under_way_;
  std::optional<Time> confirmed_at_;
  // Since a mismatch, until the lights are confirmed to be off and something else is wanted: what was wanted
  // then.
  std::optional<std::vector<bool>> fault_;
};

}  // namespace crestgate::driver
