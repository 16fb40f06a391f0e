// SPDX-License-Identifier: Apache-2.0
#pragma once
// What the guard can switch. Plain: no exceptions, no memory from the heap, nothing that waits.

#include <cstddef>

namespace crestgate::driver {

constexpr std::size_t kMostGuarded = 16;  // lights of one guard: as many as a frame names

struct GuardedDevice {
  virtual ~GuardedDevice() = default;

  // Anew, whatever was open. Tries every light, whatever becomes of the others. True: all are off.
  virtual bool open() = 0;

  // False: it is not so, as far as the device can tell. A serial device is believed when it has taken the
  // bytes; a digital line is read back.  Pre  light < count
  virtual bool put(std::size_t light, bool on) = 0;
  virtual bool still(std::size_t light, bool on) = 0;

  std::size_t count = 0;  // of its lights
  int fd = -1;            // to be watched for hanging up, if there is one
};

// Purpose  reads the words of the command line from "gpio" or "serial" on (guard_main.cpp). The words stay the
//          device's, and are cut. Touches no hardware; there is one device of each kind in a process.
// Errors   null: the words are not right.
[[nodiscard]] GuardedDevice* guarded_device(char** words);

}  // namespace crestgate::driver
