// SPDX-License-Identifier: Apache-2.0
#pragma once
// A Modbus TCP server with registers and coils, written from the specification and sharing nothing with the
// room under test, that answers in any manner a test wants: polite, slow, lying, silent.

#include <atomic>
#include <functional>
#include <mutex>
#include <thread>
#include <vector>

#include "driver/modbus_sockets.h"

namespace crestgate::tests {

class ModbusDevice {
 public:
  // Called in the device's thread with the whole request and the whole right answer. False: the connection is
  // closed.
  using Manner = std::function<bool(PeerSocket& peer, const Bytes& request, const Bytes& answer)>;

  explicit ModbusDevice(Manner manner = polite, std::uint16_t port = 0);
  ~ModbusDevice();
  ModbusDevice(const ModbusDevice&) = delete;
  ModbusDevice& operator=(const ModbusDevice&) = delete;
  ModbusDevice(ModbusDevice&&) = delete;
  ModbusDevice& operator=(ModbusDevice&&) = delete;

  static bool polite(PeerSocket& peer, const Bytes& request, const Bytes& answer);

  [[nodiscard]] std::uint16_t port() const { return listener_.port(); }
  void behave(Manner manner);
  // Sent to each new connection before anything was asked.
  void greet_with(Bytes greeting);

  [[nodiscard]] std::vector<std::uint16_t> registers(std::size_t first, std::size_t count) const;
  void set_registers(std::size_t first, const std::vector<std::uint16_t>& values);
  [[nodiscard]] std::vector<bool> coils(std::size_t first, std::size_t count) const;
  // From now on this coil is what it is told here, whatever is written.
  void stick_coil(std::size_t index, bool value);
  void unstick_coils();
  // Protocol data units of all requests that came, in order.
  [[nodiscard]] std::vector<Bytes> requests() const;
  void forget_requests();
  [[nodiscard]] std::size_t connections() const { return connections_; }

 private:
  void run();
  void serve(PeerSocket& peer);
  Bytes answer_to(const Bytes& pdu);
  Bytes read_coils(std::size_t first, std::size_t count) const;

  Listener listener_;
  mutable std::mutex mutex_;
  Manner manner_;
  Bytes greeting_;
  std::vector<std::uint16_t> registers_;
  std::vector<bool> coils_;
  std::vector<std::pair<std::size_t, bool>> stuck_;
  std::vector<Bytes> requests_;
  std::atomic<std::size_t> connections_{0};
  std::atomic<bool> stop_{false};
  std::thread thread_;
};

}  // namespace crestgate::tests
