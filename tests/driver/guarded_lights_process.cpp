// SPDX-License-Identifier: Apache-2.0
// A daemon's side of the guard as a process of its own, to be killed and stopped by a test. Arguments: the guard's
// program, the lights to be lit as a row of 0 and 1, then "gpio CHIP LINE..." or "serial PATH". Refreshes every 50 ms.
// Says on stdout what became of that whenever it changes: "confirmed", "sent" or "error WORDS"; with SIGTERM it stops
// the device, says "stopped" and ends.
#include <array>
#include <chrono>
#include <csignal>
#include <cstdio>
#include <string>
#include <thread>

#include <fcntl.h>

#include "driver/signal/guard/guarded_lights.h"

namespace {

using namespace crestgate;

volatile std::sig_atomic_t told_to_end = 0;  // NOLINT: of a signal handler

driver::RelayDialect box_dialect(std::size_t count) {
  driver::RelayDialect dialect;
  dialect.name = "test box";
  for (std::size_t i = 0; i < count; ++i) {
    const std::string lamp = "LAMP " + std::to_string(i);
    dialect.lights.push_back({.on = lamp + " 1", .off = lamp + " 0", .reply = lamp + " SET"});
  }
  return dialect;
}

driver::GuardOptions options_of(int argc, char** argv) {
  driver::GuardOptions options;
  options.program = argv[1];
  const std::size_t count = std::string(argv[2]).size();
  if (std::string(argv[3]) == "serial") {
    options.device = driver::GuardedRelay{.port = {argv[4]}, .dialect = box_dialect(count)};
    return options;
  }
  driver::GpioLightsOptions gpio{.chip = argv[4], .lines = {}};
  for (int i = 5; i < argc; ++i) gpio.lines.push_back({argv[i], false});
  options.device = gpio;
  return options;
}

std::string words_of(const base::Result<driver::Applied>& applied) {
  if (!applied) return "error " + applied.error().detail;
  return *applied == driver::Applied::kConfirmed ? "confirmed" : "sent";
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 5) return 2;
  // As a careless library does it, for children to inherit.
  if (::open("/etc/passwd", O_RDONLY) < 0) return 2;  // NOLINT
  std::signal(SIGTERM, [](int) { told_to_end = 1; });
  auto device = driver::make_guarded_lights(options_of(argc, argv));
  if (!device) {
    std::printf("error %s\n", device.error().detail.c_str());
    return 1;
  }
  std::array<bool, driver::kMostLights> lit{};
  const std::string row = argv[2];
  for (std::size_t i = 0; i < row.size(); ++i) lit[i] = row[i] == '1';
  std::string said;
  while (told_to_end == 0) {
    const std::string words = words_of((*device)->set(std::span(lit).first(row.size())));
    if (words != said) std::printf("%s\n", words.c_str());
    std::fflush(stdout);
    said = words;
    std::this_thread::sleep_for(std::chrono::milliseconds(50));
  }
  (*device)->stop();
  std::printf("stopped\n");
  return 0;
}
