// SPDX-License-Identifier: Apache-2.0
#pragma once
// Kept files under tests/golden. With CRESTGATE_REBUILD_GOLDEN set, expect_golden writes the file instead of
// comparing: only for a change that is wanted, and the commit says why.

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include <gtest/gtest.h>

namespace crestgate::protocol {

inline std::filesystem::path golden_path(const std::string& name) {
  return std::filesystem::path(CRESTGATE_SOURCE_DIR) / "tests/golden" / name;
}

inline std::string read_golden(const std::string& name) {
  std::ifstream file(golden_path(name), std::ios::binary);
  EXPECT_TRUE(file.good()) << name << " is missing";
  return {std::istreambuf_iterator<char>(file), std::istreambuf_iterator<char>()};
}

inline void expect_golden(const std::string& name, const std::string& text) {
  if (std::getenv("CRESTGATE_REBUILD_GOLDEN") != nullptr) {
    std::filesystem::create_directories(golden_path(name).parent_path());
    std::ofstream(golden_path(name), std::ios::binary) << text;
    return;
  }
  EXPECT_EQ(text, read_golden(name)) << name;
}

}  // namespace crestgate::protocol
