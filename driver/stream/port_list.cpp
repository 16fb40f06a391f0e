// SPDX-License-Identifier: Apache-2.0
#include "driver/stream/port_list.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <filesystem>
#include <system_error>

#include <libserialport.h>

namespace crestgate::driver {
namespace {

std::string text_or_empty(const char* text) { return text == nullptr ? std::string() : std::string(text); }

std::string usb_identity(const UsbFacts& usb) {
  std::array<char, 16> head{};
  std::snprintf(head.data(), head.size(), "usb:%04x:%04x:", unsigned{usb.vendor}, unsigned{usb.product});
  return head.data() + usb.serial_number;
}

// The kernel's name of the socket: the last part of where /sys/class/tty/NAME/device points.
std::string socket_of(const std::string& device) {
  namespace fs = std::filesystem;
  std::error_code error;
  fs::path place = fs::canonical("/sys/class/tty/" + fs::path(device).filename().string() + "/device", error);
  if (error) return "";
  // usb-serial adapters have a level of their own (ttyUSB0) below the socket.
  if (place.filename() == fs::path(device).filename()) place = place.parent_path();
  return place.filename().string();
}

PortInfo describe(const sp_port* port) {
  PortInfo info;
  info.name = text_or_empty(sp_get_port_name(port));
  info.description = text_or_empty(sp_get_port_description(port));
  switch (sp_get_port_transport(port)) {
    case SP_TRANSPORT_NATIVE:
      info.transport = Transport::kNative;
      break;
    case SP_TRANSPORT_USB:
      info.transport = Transport::kUsb;
      break;
    case SP_TRANSPORT_BLUETOOTH:
      info.transport = Transport::kBluetooth;
      break;
    default:
      info.transport = Transport::kUnknown;
      break;
  }
  int vendor = 0;
  int product = 0;
  if (info.transport == Transport::kUsb && sp_get_port_usb_vid_pid(port, &vendor, &product) == SP_OK) {
    UsbFacts usb;
    usb.vendor = static_cast<std::uint16_t>(vendor);
    usb.product = static_cast<std::uint16_t>(product);
    usb.serial_number = text_or_empty(sp_get_port_usb_serial(port));
    if (sp_get_port_usb_bus_address(port, &usb.bus, &usb.address) != SP_OK) usb.bus = usb.address = 0;
    info.usb = usb;
    info.socket = socket_of(info.name);
  }
  return info;
}

bool is_alone(const std::string& identity, const std::vector<PortInfo>& ports) {
  return std::count_if(ports.begin(), ports.end(), [&](const PortInfo& port) {
           return port.usb && usb_identity(*port.usb) == identity;
         }) == 1;
}

}  // namespace

std::string_view name_of(Transport transport) {
  switch (transport) {
    case Transport::kNative:
      return "native";
    case Transport::kUsb:
      return "usb";
    case Transport::kBluetooth:
      return "bluetooth";
    case Transport::kUnknown:
      return "unknown";
  }
  return "unknown";
}

void assign_identities(std::vector<PortInfo>& ports) {
  for (PortInfo& port : ports) {
    port.identity = "path:" + (port.socket.empty() ? port.name : port.socket);
    if (!port.usb || port.usb->serial_number.empty()) continue;
    const std::string usb = usb_identity(*port.usb);
    if (is_alone(usb, ports)) port.identity = usb;
  }
}

base::Result<std::vector<PortInfo>> list_ports() {
  sp_port** found = nullptr;
  if (sp_list_ports(&found) != SP_OK) {
    return base::Error{base::ErrorCode::kIo, "the system would not list its serial ports"};
  }
  std::vector<PortInfo> ports;
  for (std::size_t i = 0; found[i] != nullptr; ++i) ports.push_back(describe(found[i]));
  sp_free_port_list(found);
  std::sort(ports.begin(), ports.end(), [](const PortInfo& a, const PortInfo& b) { return a.name < b.name; });
  assign_identities(ports);
  return ports;
}

base::Result<std::string> find_port(std::string_view identity, const std::vector<PortInfo>& ports) {
  if (identity.starts_with("/")) return std::string(identity);
  std::string known;
  for (const PortInfo& port : ports) {
    if (port.identity == identity) return port.name;
    known += (known.empty() ? "" : ", ") + port.identity;
  }
  return base::Error{base::ErrorCode::kNotFound, "no port with the identity " + std::string(identity) +
                                                     " is plugged in; there is " +
                                                     (known.empty() ? std::string("none") : known)};
}

base::Result<std::string> find_port(std::string_view identity) {
  if (identity.starts_with("/")) return std::string(identity);
  const auto ports = list_ports();
  if (!ports) return ports.error();
  return find_port(identity, *ports);
}

}  // namespace crestgate::driver
