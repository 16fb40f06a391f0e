// SPDX-License-Identifier: Apache-2.0
#include <cstdio>

#include <nlohmann/json.hpp>

#include "daemon/command/commands.h"
#include "driver/stream/port_list.h"

namespace crestgate::command {

int ports(const PortsOptions& options) {
  const auto found = driver::list_ports();
  if (!found) return could_not_run(found.error());
  if (options.format == Format::kJson) {
    nlohmann::ordered_json list = nlohmann::ordered_json::array();
    for (const auto& port : *found) {
      list.push_back({{"identity", port.identity},
                      {"name", port.name},
                      {"transport", driver::name_of(port.transport)},
                      {"description", port.description}});
    }
    std::printf("%s\n", list.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
    return kFine;
  }
  if (found->empty()) std::puts("no serial port is there");
  for (const auto& port : *found) {
    std::printf("%-36s %-16s %s\n", port.identity.c_str(), port.name.c_str(), port.description.c_str());
  }
  return kFine;
}

}  // namespace crestgate::command
