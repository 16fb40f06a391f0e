// SPDX-License-Identifier: Apache-2.0
#pragma once
// Is this a request that may be answered from the table? Pure; any bytes are safe.
//
// Source  Modbus Application Protocol Specification V1.1b3 section 6 (functions, limits, exceptions) and
//         Modbus Messaging on TCP/IP Implementation Guide V1.0b section 3.1.3 (header), as quoted in the
//         register page.

#include <array>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace crestgate::driver {

constexpr std::size_t kModbusHeader = 7;
constexpr std::size_t kModbusLongest = 260;  // header and protocol data unit

enum class ModbusException : std::uint8_t {
  kIllegalFunction = 1,
  kIllegalAddress = 2,
  kIllegalValue = 3,
  kDeviceFailure = 4,
  kDeviceBusy = 6,
  kGatewayPath = 10,
};

struct ModbusHeader {
  std::uint16_t transaction = 0;
  std::uint16_t protocol = 0;
  std::uint16_t length = 0;  // bytes that follow, unit included
  std::uint8_t unit = 0;
};

[[nodiscard]] ModbusHeader read_modbus_header(std::span<const std::uint8_t, kModbusHeader> bytes);

// False: the position in the stream is lost, the connection must be closed. A request has at least a function
// code.
[[nodiscard]] bool is_modbus_header(const ModbusHeader& header);

// Why a protocol data unit is refused; nothing: it is exactly one of
//   3   read holding registers   within the PLC's block or within the mirror of the cell's block
//   4   read input registers     within the cell's block
//   6   write one register       within the PLC's block
//   16  write registers          within the PLC's block
//   23  write, then read         writing as 16, reading as 3
// with a length, a count and a byte count that fit together.
[[nodiscard]] std::optional<ModbusException> refusal_of(std::span<const std::uint8_t> pdu);

// True for the functions that write.  Pre  refusal_of(pdu) is nothing
[[nodiscard]] bool writes_registers(std::span<const std::uint8_t> pdu);

}  // namespace crestgate::driver
