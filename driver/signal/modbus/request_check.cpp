// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/request_check.h"

#include "registers/register_map.h"

namespace crestgate::driver {
namespace {

constexpr std::uint8_t kReadHolding = 3;
constexpr std::uint8_t kReadInput = 4;
constexpr std::uint8_t kWriteOne = 6;
constexpr std::uint8_t kWriteMany = 16;
constexpr std::uint8_t kReadWrite = 23;

constexpr unsigned kMostRead = 125;
constexpr unsigned kMostWritten = 123;
constexpr unsigned kMostWrittenWithRead = 121;

using Refusal = std::optional<ModbusException>;

unsigned word_at(std::span<const std::uint8_t> bytes, std::size_t at) {
  return (unsigned{bytes[at]} << 8U) | bytes[at + 1];
}

bool is_within(unsigned first, unsigned count, unsigned begin, unsigned size) {
  return first >= begin && first + count <= begin + size;
}

Refusal check_count(unsigned count, unsigned most) {
  return count >= 1 && count <= most ? Refusal{} : ModbusException::kIllegalValue;
}

Refusal check_holding_read(unsigned first, unsigned count) {
  if (auto refusal = check_count(count, kMostRead)) return refusal;
  const bool known = is_within(first, count, 0, registers::plc::kSize) ||
                     is_within(first, count, registers::kMirrorBase, registers::cell::kSize);
  return known ? Refusal{} : ModbusException::kIllegalAddress;
}

Refusal check_input_read(unsigned first, unsigned count) {
  if (auto refusal = check_count(count, kMostRead)) return refusal;
  return is_within(first, count, 0, registers::cell::kSize) ? Refusal{} : ModbusException::kIllegalAddress;
}

Refusal check_write(unsigned first, unsigned count, unsigned most) {
  if (auto refusal = check_count(count, most)) return refusal;
  return is_within(first, count, 0, registers::plc::kSize) ? Refusal{} : ModbusException::kIllegalAddress;
}

Refusal check_write_many(std::span<const std::uint8_t> pdu) {
  if (pdu.size() < 6) return ModbusException::kIllegalValue;
  const unsigned count = word_at(pdu, 3);
  const unsigned bytes = pdu[5];
  if (bytes != 2 * count || pdu.size() != 6 + std::size_t{bytes}) return ModbusException::kIllegalValue;
  return check_write(word_at(pdu, 1), count, kMostWritten);
}

Refusal check_read_write(std::span<const std::uint8_t> pdu) {
  if (pdu.size() < 10) return ModbusException::kIllegalValue;
  const unsigned count = word_at(pdu, 7);
  const unsigned bytes = pdu[9];
  if (bytes != 2 * count || pdu.size() != 10 + std::size_t{bytes}) return ModbusException::kIllegalValue;
  if (auto refusal = check_write(word_at(pdu, 5), count, kMostWrittenWithRead)) return refusal;
  return check_holding_read(word_at(pdu, 1), word_at(pdu, 3));
}

}  // namespace

ModbusHeader read_modbus_header(std::span<const std::uint8_t, kModbusHeader> bytes) {
  ModbusHeader header;
  header.transaction = static_cast<std::uint16_t>(word_at(bytes, 0));
  header.protocol = static_cast<std::uint16_t>(word_at(bytes, 2));
  header.length = static_cast<std::uint16_t>(word_at(bytes, 4));
  header.unit = bytes[6];
  return header;
}

bool is_modbus_header(const ModbusHeader& header) {
  return header.protocol == 0 && header.length >= 2 && header.length <= 254;
}

std::optional<ModbusException> refusal_of(std::span<const std::uint8_t> pdu) {
  if (pdu.empty()) return ModbusException::kIllegalFunction;
  const bool five = pdu.size() == 5;
  switch (pdu[0]) {
    case kReadHolding:
      return five ? check_holding_read(word_at(pdu, 1), word_at(pdu, 3)) : ModbusException::kIllegalValue;
    case kReadInput:
      return five ? check_input_read(word_at(pdu, 1), word_at(pdu, 3)) : ModbusException::kIllegalValue;
    case kWriteOne:
      return five ? check_write(word_at(pdu, 1), 1, 1) : ModbusException::kIllegalValue;
    case kWriteMany:
      return check_write_many(pdu);
    case kReadWrite:
      return check_read_write(pdu);
    default:
      return ModbusException::kIllegalFunction;
  }
}

bool writes_registers(std::span<const std::uint8_t> pdu) {
  return pdu[0] == kWriteOne || pdu[0] == kWriteMany || pdu[0] == kReadWrite;
}

}  // namespace crestgate::driver
