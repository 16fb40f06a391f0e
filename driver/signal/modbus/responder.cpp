// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/responder.h"

#include <algorithm>
#include <utility>

#include <modbus.h>
#include <sys/socket.h>
#include <unistd.h>

#include "base/expects.h"
#include "registers/register_map.h"

namespace crestgate::driver {
namespace {

constexpr int kHoldingRegisters = registers::kMirrorBase + registers::cell::kSize;

}  // namespace

// The server side of libmodbus 3.1.6 reads, waits and drains on its socket when a request is not to its
// taste, takes every unit and protocol id, and lets every write into the whole table. So it is given only
// requests that were checked before, on one end of a socket pair, and its answer is fetched from the other
// end.
struct ModbusResponder::Parts {
  Parts() = default;
  Parts(const Parts&) = delete;
  Parts& operator=(const Parts&) = delete;
  Parts(Parts&&) = delete;
  Parts& operator=(Parts&&) = delete;
  ~Parts() {
    if (mapping != nullptr) modbus_mapping_free(mapping);
    if (context != nullptr) modbus_free(context);
    for (const int end : ends) {
      if (end >= 0) ::close(end);
    }
  }
  modbus_t* context = nullptr;
  modbus_mapping_t* mapping = nullptr;
  std::array<int, 2> ends{-1, -1};
};

ModbusResponder::ModbusResponder(std::unique_ptr<Parts> parts) : parts_(std::move(parts)) {
  set_cell_block(CellBlock{});
}

ModbusResponder::~ModbusResponder() = default;

base::Result<std::unique_ptr<ModbusResponder>> ModbusResponder::make() {
  auto parts = std::make_unique<Parts>();
  parts->context = modbus_new_tcp("127.0.0.1", 502);  // never connects or listens
  parts->mapping = modbus_mapping_new(0, 0, kHoldingRegisters, registers::cell::kSize);
  const bool paired =
      ::socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC | SOCK_NONBLOCK, 0, parts->ends.data()) == 0;
  if (parts->context == nullptr || parts->mapping == nullptr || !paired) {
    return base::Error{base::ErrorCode::kIo,
                       "cannot set the Modbus answerer up: out of memory or descriptors"};
  }
  modbus_set_socket(parts->context, parts->ends[0]);
  // What it would sleep if a request ever displeased it; (0, 0) is not allowed.
  modbus_set_response_timeout(parts->context, 0, 1);
  return std::unique_ptr<ModbusResponder>(new ModbusResponder(std::move(parts)));
}

void ModbusResponder::set_cell_block(const CellBlock& block) {
  std::copy(block.begin(), block.end(), parts_->mapping->tab_input_registers);
  std::copy(block.begin(), block.end(), parts_->mapping->tab_registers + registers::kMirrorBase);
}

PlcBlock ModbusResponder::plc_block() const {
  PlcBlock block{};
  std::copy_n(parts_->mapping->tab_registers, block.size(), block.begin());
  return block;
}

std::size_t ModbusResponder::answer(std::span<const std::uint8_t> request, ModbusFrame& answer) {
  CRESTGATE_EXPECTS(request.size() > kModbusHeader && request.size() <= kModbusLongest);
  if (const auto refusal = refusal_of(request.subspan(kModbusHeader))) {
    return exception_answer(request, *refusal, answer);
  }
  ModbusFrame query{};  // libmodbus wants a buffer of full size
  std::copy(request.begin(), request.end(), query.begin());
  const int replied =
      modbus_reply(parts_->context, query.data(), static_cast<int>(request.size()), parts_->mapping);
  const ssize_t got = ::recv(parts_->ends[1], answer.data(), answer.size(), MSG_DONTWAIT);
  if (replied < 0 || got <= 0) return exception_answer(request, ModbusException::kDeviceFailure, answer);
  return static_cast<std::size_t>(got);
}

std::size_t exception_answer(std::span<const std::uint8_t> request, ModbusException code,
                             ModbusFrame& answer) {
  CRESTGATE_EXPECTS(request.size() > kModbusHeader);
  std::copy_n(request.begin(), 4, answer.begin());  // transaction and protocol
  answer[4] = 0;
  answer[5] = 3;  // unit, function, code
  answer[6] = request[6];
  answer[7] = static_cast<std::uint8_t>(request[7] | 0x80U);
  answer[8] = static_cast<std::uint8_t>(code);
  return 9;
}

}  // namespace crestgate::driver
