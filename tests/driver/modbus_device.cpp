// SPDX-License-Identifier: Apache-2.0
// Layouts: Modbus Application Protocol Specification V1.1b3 sections 6.1, 6.3, 6.11, 6.12, 7.
#include "driver/modbus_device.h"

#include <utility>

#include <poll.h>

namespace crestgate::tests {
namespace {

constexpr std::size_t kSpace = 65536;

std::size_t word(const Bytes& bytes, std::size_t at) { return bytes.at(at) * 256U + bytes.at(at + 1); }

}  // namespace

ModbusDevice::ModbusDevice(Manner manner, std::uint16_t port)
    : listener_(port),
      manner_(std::move(manner)),
      registers_(kSpace, 0),
      coils_(kSpace, false),
      thread_([this] { run(); }) {}

ModbusDevice::~ModbusDevice() {
  stop_ = true;
  thread_.join();
}

bool ModbusDevice::polite(PeerSocket& peer, const Bytes& /*request*/, const Bytes& answer) {
  return peer.send(answer);
}

void ModbusDevice::behave(Manner manner) {
  const std::lock_guard lock(mutex_);
  manner_ = std::move(manner);
}
void ModbusDevice::greet_with(Bytes greeting) {
  const std::lock_guard lock(mutex_);
  greeting_ = std::move(greeting);
}
std::vector<std::uint16_t> ModbusDevice::registers(std::size_t first, std::size_t count) const {
  const std::lock_guard lock(mutex_);
  const auto begin = registers_.begin() + static_cast<std::ptrdiff_t>(first);
  return {begin, begin + static_cast<std::ptrdiff_t>(count)};
}
void ModbusDevice::set_registers(std::size_t first, const std::vector<std::uint16_t>& values) {
  const std::lock_guard lock(mutex_);
  std::copy(values.begin(), values.end(), registers_.begin() + static_cast<std::ptrdiff_t>(first));
}
std::vector<bool> ModbusDevice::coils(std::size_t first, std::size_t count) const {
  const std::lock_guard lock(mutex_);
  const auto begin = coils_.begin() + static_cast<std::ptrdiff_t>(first);
  return {begin, begin + static_cast<std::ptrdiff_t>(count)};
}
void ModbusDevice::stick_coil(std::size_t index, bool value) {
  const std::lock_guard lock(mutex_);
  stuck_.emplace_back(index, value);
  coils_.at(index) = value;
}
void ModbusDevice::unstick_coils() {
  const std::lock_guard lock(mutex_);
  stuck_.clear();
}
std::vector<Bytes> ModbusDevice::requests() const {
  const std::lock_guard lock(mutex_);
  return requests_;
}
void ModbusDevice::forget_requests() {
  const std::lock_guard lock(mutex_);
  requests_.clear();
}

void ModbusDevice::run() {
  while (!stop_) {
    PeerSocket peer = listener_.accept(std::chrono::milliseconds(20));
    if (peer.fd() < 0) continue;
    ++connections_;
    Bytes greeting;
    {
      const std::lock_guard lock(mutex_);
      greeting = greeting_;
    }
    if (!greeting.empty()) peer.send(greeting);
    serve(peer);
  }
}

void ModbusDevice::serve(PeerSocket& peer) {
  while (!stop_) {
    pollfd ready{peer.fd(), POLLIN, 0};
    if (::poll(&ready, 1, 20) == 0) continue;
    const Bytes request = peer.receive_frame(std::chrono::seconds(1));
    if (request.size() < 8) return;
    const Bytes pdu(request.begin() + 7, request.end());
    Manner manner;
    Bytes answer;
    {
      const std::lock_guard lock(mutex_);
      requests_.push_back(pdu);
      manner = manner_;
      answer = modbus_frame(static_cast<std::uint16_t>(word(request, 0)), request[6], answer_to(pdu));
    }
    if (!manner(peer, request, answer)) return;
  }
}

Bytes ModbusDevice::read_coils(std::size_t first, std::size_t count) const {
  Bytes answer{1, static_cast<std::uint8_t>((count + 7) / 8)};
  answer.resize(2 + (count + 7) / 8, 0);
  for (std::size_t i = 0; i < count; ++i) {
    if (coils_.at(first + i))
      answer[2 + i / 8] = static_cast<std::uint8_t>(unsigned{answer[2 + i / 8]} | 1U << i % 8);
  }
  return answer;
}

Bytes ModbusDevice::answer_to(const Bytes& pdu) {
  if (pdu.size() < 5) return {static_cast<std::uint8_t>(unsigned{pdu[0]} | 0x80U), 3};
  const std::size_t first = word(pdu, 1);
  const std::size_t count = word(pdu, 3);
  if (first + count > kSpace) return {static_cast<std::uint8_t>(unsigned{pdu[0]} | 0x80U), 2};
  switch (pdu[0]) {
    case 1:
      return read_coils(first, count);
    case 3: {
      Bytes answer{3, static_cast<std::uint8_t>(2 * count)};
      for (std::size_t i = first; i < first + count; ++i) {
        answer.push_back(static_cast<std::uint8_t>(registers_[i] >> 8U));
        answer.push_back(static_cast<std::uint8_t>(registers_[i] & 0xFFU));
      }
      return answer;
    }
    case 15:
      if (pdu.size() != 6 + (count + 7) / 8 || pdu[5] != (count + 7) / 8) return {0x8F, 3};
      for (std::size_t i = 0; i < count; ++i)
        coils_[first + i] = (unsigned{pdu[6 + i / 8]} >> i % 8 & 1U) != 0;
      for (const auto& [index, value] : stuck_) coils_[index] = value;
      return {pdu.begin(), pdu.begin() + 5};
    case 16:
      if (pdu.size() != 6 + 2 * count || pdu[5] != 2 * count) return {0x90, 3};
      for (std::size_t i = 0; i < count; ++i)
        registers_[first + i] = static_cast<std::uint16_t>(word(pdu, 6 + 2 * i));
      return {pdu.begin(), pdu.begin() + 5};
    default:
      return {static_cast<std::uint8_t>(unsigned{pdu[0]} | 0x80U), 1};
  }
}

}  // namespace crestgate::tests
