// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the fakes of light devices write down: "NS PID DEVICE LIGHT OLD NEW WHAT" a line, NS being CLOCK_MONOTONIC.

#include <chrono>
#include <cstdint>
#include <filesystem>
#include <fstream>
#include <functional>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

namespace crestgate::tests {

struct LightEntry {
  std::int64_t at_ns = 0;
  int pid = 0;
  unsigned light = 0;
  bool was = false;
  bool is = false;
  std::string what;
};

inline std::vector<LightEntry> read_light_log(const std::filesystem::path& path) {
  std::vector<LightEntry> entries;
  std::ifstream file(path);
  for (std::string line; std::getline(file, line);) {
    LightEntry entry;
    std::string device;
    if (std::istringstream(line) >> entry.at_ns >> entry.pid >> device >> entry.light >> entry.was >>
        entry.is >> entry.what)
      entries.push_back(entry);
  }
  return entries;
}

inline std::int64_t monotonic_ns() {
  return std::chrono::duration_cast<std::chrono::nanoseconds>(
             std::chrono::steady_clock::now().time_since_epoch())
      .count();
}

// Milliseconds from `since_ns` to the first time after it that `light` went off; negative: it never did.
inline double dark_after_ms(const std::vector<LightEntry>& log, unsigned light, std::int64_t since_ns) {
  for (const LightEntry& entry : log) {
    if (entry.light == light && entry.was && !entry.is && entry.at_ns >= since_ns)
      return static_cast<double>(entry.at_ns - since_ns) / 1e6;
  }
  return -1.0;
}

// True as soon as `done` is; false when it takes longer than anything here should.
inline bool eventually(const std::function<bool()>& done,
                       std::chrono::seconds patience = std::chrono::seconds(15)) {
  const auto limit = std::chrono::steady_clock::now() + patience;
  while (!done()) {
    if (std::chrono::steady_clock::now() > limit) return false;
    std::this_thread::sleep_for(std::chrono::milliseconds(1));
  }
  return true;
}

}  // namespace crestgate::tests
