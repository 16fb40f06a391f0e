// SPDX-License-Identifier: Apache-2.0
#pragma once
// The relay box of relay_box.py as a child of the test.

#include <filesystem>
#include <string>
#include <vector>

#include <sys/types.h>

#include "support/light_log.h"

namespace crestgate::tests {

class RelayBox {
 public:
  explicit RelayBox(int lights);
  RelayBox(const RelayBox&) = delete;
  RelayBox& operator=(const RelayBox&) = delete;
  ~RelayBox();

  [[nodiscard]] std::string path() const { return (folder_ / "port").string(); }
  // Says one line of those in relay_box.py, and returns its answer.
  std::string tell(const std::string& line);
  [[nodiscard]] std::string lights() { return tell("lights"); }  // "010"
  [[nodiscard]] std::vector<LightEntry> log() const { return read_light_log(folder_ / "log"); }

 private:
  std::filesystem::path folder_;
  int channel_ = -1;
  pid_t pid_ = -1;
};

}  // namespace crestgate::tests
