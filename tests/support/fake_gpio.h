// SPDX-License-Identifier: Apache-2.0
#pragma once
// A folder for the library in support/fake_gpiod, with one chip in it; this process and its children see it.

#include <filesystem>
#include <string>
#include <vector>

#include "support/light_log.h"

namespace crestgate::tests {

class FakeGpio {
 public:
  // The chip is "gpiochip7" with the label "fake-lamps" and the lines free, red, green, twin, twin.
  FakeGpio();
  FakeGpio(const FakeGpio&) = delete;
  FakeGpio& operator=(const FakeGpio&) = delete;
  ~FakeGpio();

  [[nodiscard]] std::string chip_path() const { return (folder_ / "gpiochip7.chip").string(); }
  [[nodiscard]] bool is_high(unsigned line) const;
  void leave_high(unsigned line) const;  // as a process that died would
  void set_faults(const std::string& lines) const;
  [[nodiscard]] std::vector<LightEntry> log() const { return read_light_log(folder_ / "log"); }

 private:
  std::filesystem::path folder_;
};

}  // namespace crestgate::tests
