// SPDX-License-Identifier: Apache-2.0
// Any bytes as a Modbus request: never a crash, always one answer that fits, and only the PLC's own block
// ever changes.

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <memory>
#include <span>

#include "driver/signal/modbus/register_codec.h"
#include "driver/signal/modbus/request_check.h"
#include "driver/signal/modbus/responder.h"

using namespace crestgate::driver;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::span<const std::uint8_t> input(data, size);
  static_cast<void>(refusal_of(input));
  if (size <= kModbusHeader || size > kModbusLongest) return 0;

  const ModbusHeader header = read_modbus_header(input.first<kModbusHeader>());
  if (!is_modbus_header(header) || kModbusHeader - 1U + header.length != size) return 0;

  static const std::unique_ptr<ModbusResponder> responder = [] {
    auto made = ModbusResponder::make();
    require(made.has_value());
    return *std::move(made);
  }();
  const PlcBlock before = responder->plc_block();
  ModbusFrame answer{};
  const std::size_t answered = responder->answer(input, answer);
  require(answered >= 9 && answered <= answer.size());
  require(std::equal(input.begin(), input.begin() + 4, answer.begin()));
  require(static_cast<std::size_t>(answer[4] * 256 + answer[5]) + 6 == answered);
  require((answer[7] & 0x7FU) == (input[7] & 0x7FU));

  const auto refusal = refusal_of(input.subspan(kModbusHeader));
  const bool refused = (answer[7] & 0x80U) != 0;
  require(refused == refusal.has_value());
  const bool may_change = !refused && writes_registers(input.subspan(kModbusHeader));
  require(may_change || responder->plc_block() == before);
  static_cast<void>(decode_plc_block(responder->plc_block()));
  return 0;
}
