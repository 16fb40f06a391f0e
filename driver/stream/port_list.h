// SPDX-License-Identifier: Apache-2.0
#pragma once
// Which ports there are, and a name for each that stays the same when it is plugged in again.

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/result.h"

namespace crestgate::driver {

enum class Transport : std::uint8_t { kNative, kUsb, kBluetooth, kUnknown };

struct UsbFacts {
  std::uint16_t vendor = 0;
  std::uint16_t product = 0;
  std::string serial_number;  // "" when the device has none
  int bus = 0;
  int address = 0;
  friend bool operator==(const UsbFacts&, const UsbFacts&) = default;
};

struct PortInfo {
  std::string name;  // "/dev/ttyUSB0": may be another one tomorrow
  std::string description;
  Transport transport = Transport::kUnknown;
  std::optional<UsbFacts> usb;
  std::string socket;    // where it is plugged in, for example "1-1.2:1.0"; "" when the system does not say
  std::string identity;  // what to write into a cell's description
};

[[nodiscard]] std::string_view name_of(Transport transport);

// Purpose  fills in `identity` of every port: "usb:VVVV:PPPP:SERIAL" where vendor, product and serial number
//          name one port only; "path:SOCKET" (the physical socket) for USB ports without a serial number or
//          with the same one (adapters with several channels, cheap copies); else "path:NAME".
void assign_identities(std::vector<PortInfo>& ports);

// Sorted by name. Reads the system's tables; takes milliseconds.
// Errors  kIo: the system would not say.
[[nodiscard]] base::Result<std::vector<PortInfo>> list_ports();

// Purpose  the device name behind an identity, or the device name itself ("/dev/...").
// Errors   kNotFound: nothing with this identity is plugged in; the detail names what is.
[[nodiscard]] base::Result<std::string> find_port(std::string_view identity);
[[nodiscard]] base::Result<std::string> find_port(std::string_view identity,
                                                  const std::vector<PortInfo>& ports);

}  // namespace crestgate::driver
