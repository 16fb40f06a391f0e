// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/server_session.h"

#include <algorithm>
#include <array>
#include <span>
#include <utility>

#include "driver/signal/modbus/register_codec.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;

LineHolder::Time now() { return std::chrono::steady_clock::now(); }

enum class Step : std::uint8_t { kGoOn, kClose };

constexpr std::uint8_t kReadFunction = 0x03;
constexpr std::uint8_t kReadWriteFunction = 0x17;

// Function 23 writes before it reads, and what it reads must be what the write led to: the cell's block as it
// stands after the listener. Asked for as function 3, whose answer has the same shape.
std::size_t read_half(ServerCore& core, std::span<const std::uint8_t> request, ModbusFrame& answer) {
  constexpr std::size_t kReadRequest = kModbusHeader + 5;
  std::array<std::uint8_t, kReadRequest> read{};
  std::copy_n(request.begin(), kReadRequest, read.begin());
  read[4] = 0;
  read[5] = static_cast<std::uint8_t>(kReadRequest - (kModbusHeader - 1));
  read[kModbusHeader] = kReadFunction;
  const std::size_t size = core.responder->answer(read, answer);
  answer[kModbusHeader] =
      static_cast<std::uint8_t>(answer[kModbusHeader] + (kReadWriteFunction - kReadFunction));
  return size;
}

// Why this client's well-formed write is not carried out; nothing: it may write, and holds the line now.
std::optional<ModbusException> refuse_writer(ServerCore& core, const ServerClient& client) {
  switch (core.line.claim(client.number, now())) {
    case Claim::kGranted:
      return std::nullopt;
    case Claim::kOtherHolds:
      ++core.counters.refused_other_holds;
      return ModbusException::kDeviceBusy;
    case Claim::kNotAllowed:
      ++core.counters.refused_not_allowed;
      return ModbusException::kIllegalFunction;  // not an allowable action for this client, ever
  }
  return ModbusException::kDeviceBusy;
}

std::size_t refuse(ServerCore& core, std::span<const std::uint8_t> request, ModbusException code,
                   ModbusFrame& answer) {
  ++core.counters.exceptions;
  return exception_answer(request, code, answer);
}

// The answer to one whole request.
std::size_t answer_request(ServerCore& core, const ServerClient& client,
                           std::span<const std::uint8_t> request, ModbusFrame& answer) {
  ++core.counters.requests;
  const std::uint8_t unit = request[kModbusHeader - 1];
  const bool ours = unit == core.options.unit_id || unit == 0 || unit == 255;
  if (!ours) return refuse(core, request, ModbusException::kGatewayPath, answer);
  const std::span<const std::uint8_t> pdu = request.subspan(kModbusHeader);
  if (const auto refusal = refusal_of(pdu)) return refuse(core, request, *refusal, answer);
  const bool writes = writes_registers(pdu);
  if (writes) {
    if (const auto refusal = refuse_writer(core, client)) {
      const std::size_t size = refuse(core, request, *refusal, answer);
      core.tell_contest();
      return size;
    }
  }
  const std::size_t size = core.responder->answer(request, answer);
  if ((answer[kModbusHeader] & 0x80U) != 0) {
    ++core.counters.exceptions;
    return size;
  }
  if (!writes) return size;
  ++core.counters.writes;
  core.tell();
  return pdu[0] == kReadWriteFunction ? read_half(core, request, answer) : size;
}

// Answers every whole request that has come, in order.
Awaitable<Step> answer_all(ServerCorePtr core, ServerClientPtr client) {
  ModbusFrame answer{};
  while (client->input.size() >= kModbusHeader) {
    const ModbusHeader header =
        read_modbus_header(std::span<const std::uint8_t>(client->input).first<kModbusHeader>());
    if (!is_modbus_header(header)) {
      ++core->counters.bad_headers;
      co_return Step::kClose;
    }
    const std::size_t whole = kModbusHeader - 1 + header.length;
    if (client->input.size() < whole) co_return Step::kGoOn;
    client->last_request = now();
    const std::size_t size = answer_request(*core, *client, std::span(client->input).first(whole), answer);
    client->input.erase(client->input.begin(), client->input.begin() + static_cast<std::ptrdiff_t>(whole));
    auto writing = client->stream->write(std::as_bytes(std::span(answer).first(size)),
                                         now() + core->options.write_timeout);
    const auto written = co_await std::move(writing);
    client->frame_began = now();  // of what is left: our own writing is not the client's delay
    if (written && !client->dropped) continue;
    if (!written && written.error().code == base::ErrorCode::kNoReply) ++core->counters.write_timeouts;
    co_return Step::kClose;
  }
  co_return Step::kGoOn;
}

}  // namespace

ServerCore::ServerCore(const asio::any_io_executor& on, ModbusServerOptions with, LineRules rules,
                       std::unique_ptr<ModbusResponder> answers)
    : executor(on),
      options(std::move(with)),
      responder(std::move(answers)),
      acceptor(on),
      pause(on),
      contest_over(on),
      line(std::move(rules)) {}

void ServerCore::show(const base::CellSignal& signal) {
  responder->set_cell_block(encode_cell_block(signal));
}

base::PlcInputs ServerCore::inputs() const {
  base::PlcInputs inputs = decode_plc_block(responder->plc_block());
  inputs.contested = line.contested(now());
  return inputs;
}

void ServerCore::drop(std::uint64_t number) {
  const auto found = std::find_if(clients.begin(), clients.end(),
                                  [number](const auto& client) { return client->number == number; });
  if (found == clients.end()) return;
  (*found)->dropped = true;
  (*found)->stream->close();  // its coroutine ends by itself
  clients.erase(found);
  line.left(number);
}

void ServerCore::make_room() {
  if (clients.size() < options.connection_limit) return;
  // The PLC's own connection last: a crowd of strangers must not cost it the line.
  const std::uint64_t writer = line.writer(now());
  const auto rank = [writer](const ServerClientPtr& client) {
    return std::pair(client->number == writer, client->last_request);
  };
  const auto oldest = std::min_element(clients.begin(), clients.end(),
                                       [&](const auto& a, const auto& b) { return rank(a) < rank(b); });
  drop((*oldest)->number);
  ++counters.closed_for_room;
}

void ServerCore::tell() {
  const base::PlcInputs told = inputs();
  contest_told = told.contested;
  if (listener) listener(told);
}

void ServerCore::tell_contest() {
  const bool contested = line.contested(now());
  if (counters.writes > 0 && contested != contest_told) tell();
  if (!contested || stopped) return;
  contest_over.expires_at(line.contest_ends());
  contest_over.async_wait([weak = weak_from_this()](const boost::system::error_code& error) {
    const ServerCorePtr core = weak.lock();
    if (error || !core || core->stopped) return;
    core->tell_contest();
  });
}

Awaitable<void> serve_client(ServerCorePtr core, ServerClientPtr client) {
  std::array<std::byte, 1024> buffer{};
  while (true) {
    const bool between = client->input.empty();
    const LineHolder::Time deadline =
        between ? LineHolder::Time::max() : client->frame_began + core->options.frame_timeout;
    auto reading = client->stream->read_some(buffer, deadline);
    const auto got = co_await std::move(reading);
    if (client->dropped) break;
    if (!got) {
      if (got.error().code == base::ErrorCode::kNoReply) ++core->counters.frame_timeouts;
      break;
    }
    if (between) client->frame_began = now();
    for (const std::byte byte : std::span(buffer).first(*got)) {
      client->input.push_back(std::to_integer<std::uint8_t>(byte));
    }
    auto answering = answer_all(core, client);
    const Step step = co_await std::move(answering);
    if (step == Step::kClose) break;
  }
  core->drop(client->number);
}

}  // namespace crestgate::driver
