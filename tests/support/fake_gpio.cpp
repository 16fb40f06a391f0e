// SPDX-License-Identifier: Apache-2.0
#include "support/fake_gpio.h"

#include <cstdlib>
#include <fstream>
#include <stdexcept>

#include "support/processes.h"

namespace crestgate::tests {

FakeGpio::FakeGpio() {
  std::string name = (std::filesystem::temp_directory_path() / "fake_gpio_XXXXXX").string();
  if (::mkdtemp(name.data()) == nullptr) throw std::runtime_error("no temporary folder");
  folder_ = name;
  std::ofstream(folder_ / "gpiochip7.chip") << "fake-lamps\nfree\nred\ngreen\ntwin\ntwin\n";
  ::setenv("FAKE_GPIOD_DIR", folder_.c_str(), 1);
  ::setenv("LD_LIBRARY_PATH", (std::string(CRESTGATE_BINARY_DIR) + "/fake_gpiod").c_str(), 1);
}

FakeGpio::~FakeGpio() {
  wait_for_guards(folder_, "environ");
  ::unsetenv("FAKE_GPIOD_DIR");
  ::unsetenv("LD_LIBRARY_PATH");
  std::error_code left_behind;
  std::filesystem::remove_all(folder_, left_behind);
}

bool FakeGpio::is_high(unsigned line) const {
  std::ifstream file(folder_ / "gpiochip7.levels");
  file.seekg(line);
  return file.get() == '1';
}

void FakeGpio::leave_high(unsigned line) const {
  const std::filesystem::path levels = folder_ / "gpiochip7.levels";
  if (!std::filesystem::exists(levels)) std::ofstream(levels) << "00000";
  std::fstream file(levels, std::ios::in | std::ios::out);
  file.seekp(line);
  file.put('1');
}

void FakeGpio::set_faults(const std::string& lines) const {
  // In one piece: a process that reads meanwhile sees the old or the new ones.
  const std::filesystem::path fresh = folder_ / "faults.new";
  std::ofstream(fresh) << lines;
  std::filesystem::rename(fresh, folder_ / "faults");
}

}  // namespace crestgate::tests
