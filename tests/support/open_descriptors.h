// SPDX-License-Identifier: Apache-2.0
#pragma once
// How many descriptors this process has open.

#include <cstddef>
#include <filesystem>
#include <iterator>

namespace crestgate::tests {

inline std::size_t open_descriptors() {
  const std::filesystem::directory_iterator begin("/proc/self/fd");
  return static_cast<std::size_t>(std::distance(begin, std::filesystem::directory_iterator{}));
}

}  // namespace crestgate::tests
