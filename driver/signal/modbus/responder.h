// SPDX-License-Identifier: Apache-2.0
#pragma once
// A whole checked request in, the whole answer out: libmodbus used as a function. It never sees a client's
// socket.

#include <array>
#include <cstddef>
#include <cstdint>
#include <memory>
#include <span>

#include "base/result.h"
#include "driver/signal/modbus/register_codec.h"
#include "driver/signal/modbus/request_check.h"

namespace crestgate::driver {

using ModbusFrame = std::array<std::uint8_t, kModbusLongest>;

class ModbusResponder {
 public:
  // Errors  kIo: no socket pair or no memory.
  [[nodiscard]] static base::Result<std::unique_ptr<ModbusResponder>> make();
  ModbusResponder(const ModbusResponder&) = delete;
  ModbusResponder& operator=(const ModbusResponder&) = delete;
  ModbusResponder(ModbusResponder&&) = delete;
  ModbusResponder& operator=(ModbusResponder&&) = delete;
  ~ModbusResponder();

  // Swaps the cell's block whole: input registers and mirror.
  void set_cell_block(const CellBlock& block);
  [[nodiscard]] PlcBlock plc_block() const;

  // Purpose  answers header + protocol data unit; writes go into the PLC's block.
  //          Every refusal becomes an exception answer. Returns the answer's size in `answer`.
  // Pre      `request` holds a header that is_modbus_header accepts and as many bytes as it announces.
  std::size_t answer(std::span<const std::uint8_t> request, ModbusFrame& answer);

 private:
  struct Parts;
  explicit ModbusResponder(std::unique_ptr<Parts> parts);
  std::unique_ptr<Parts> parts_;
};

// The answer "exception `code`" to `request`; returns its size.  Pre  as above
std::size_t exception_answer(std::span<const std::uint8_t> request, ModbusException code,
                             ModbusFrame& answer);

}  // namespace crestgate::driver
