// SPDX-License-Identifier: Apache-2.0
#pragma once
// Where a port of a description is found.

#include <filesystem>
#include <string>

namespace crestgate::cell {

// Purpose  a port that is a plain name lies in the cell's folder (a link, say); "/dev/...", "usb:...", "tcp:..."
//          stay as they are.
inline std::string port_in(const std::filesystem::path& folder, const std::string& port) {
  const bool plain = !port.empty() && port.front() != '/' && port.find(':') == std::string::npos;
  return plain ? (folder / port).string() : port;
}

}  // namespace crestgate::cell
