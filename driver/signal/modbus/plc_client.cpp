// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/plc_client.h"

#include <algorithm>
#include <exception>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>

#include "driver/signal/modbus/register_codec.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using Time = std::chrono::steady_clock::time_point;

Time now() { return std::chrono::steady_clock::now(); }

// Shared by the output and its coroutine, which may outlive it for its last block.
struct Core {
  Core(const asio::any_io_executor& executor, PlcClientOptions with, std::unique_ptr<ModbusClient> line)
      : options(std::move(with)), client(std::move(line)), wake(executor) {
    write_trouble =
        base::Error{base::ErrorCode::kDisconnected, "modbus " + client->name() + ": not connected yet"};
  }

  void want(const base::CellSignal& signal) {
    latest = signal;
    const CellBlock block = encode_cell_block(signal);
    if (block == wanted) return;
    wanted = block;
    changed = true;
    wake.cancel();
  }
  [[nodiscard]] ModbusQuestion question() const { return tell_registers(options.cell_block, wanted); }

  PlcClientOptions options;
  std::unique_ptr<ModbusClient> client;
  asio::steady_timer wake;
  base::CellSignal latest;
  CellBlock wanted = encode_cell_block(made_safe({}));
  bool changed = true;  // since the last write began
  Time next_write;
  Time next_read;
  std::optional<base::Error> write_trouble;
  std::optional<base::Error> read_trouble;
  std::function<void(const base::PlcInputs&)> listener;
  bool stopped = false;
};
using CorePtr = std::shared_ptr<Core>;

Awaitable<void> write_block(CorePtr core) {
  core->changed = false;
  core->next_write = now() + core->options.every;
  auto asking = core->client->ask(core->question());
  const auto answer = co_await std::move(asking);
  core->write_trouble = answer ? std::nullopt : std::optional(answer.error());
}

Awaitable<void> read_block(CorePtr core) {
  core->next_read = now() + core->options.every;
  auto asking = core->client->ask(ask_registers(*core->options.plc_block, registers::plc::kSize));
  const auto answer = co_await std::move(asking);
  core->read_trouble = answer ? std::nullopt : std::optional(answer.error());
  if (!answer || core->stopped) co_return;
  const std::vector<std::uint16_t> words = unpack_registers(*answer);
  PlcBlock block{};
  std::copy_n(words.begin(), std::min(words.size(), block.size()), block.begin());
  if (core->listener) core->listener(decode_plc_block(block));
}

// Writes and reads what is due, then waits for the next time or the next change.
Awaitable<void> one_round(CorePtr core) {
  if (core->changed || now() >= core->next_write) {
    auto writing = write_block(core);
    co_await std::move(writing);
  }
  if (core->stopped || !core->client->connected()) co_return;
  const bool reads = core->options.plc_block.has_value();
  if (reads && now() >= core->next_read) {
    auto reading = read_block(core);
    co_await std::move(reading);
  }
  if (core->stopped || core->changed || !core->client->connected()) co_return;
  core->wake.expires_at(reads ? std::min(core->next_write, core->next_read) : core->next_write);
  co_await core->wake.async_wait(asio::as_tuple(asio::use_awaitable));
}

Awaitable<void> keep_line(CorePtr core) {
  while (!core->stopped) {
    if (core->client->connected()) {
      auto round = one_round(core);
      co_await std::move(round);
      continue;
    }
    auto connecting = core->client->connect();
    const base::Outcome connected = co_await std::move(connecting);
    if (!connected) {
      core->write_trouble = connected.error();
      continue;  // connect() waits before it tries again
    }
    core->want(made_safe(core->latest));
    core->changed = true;
    core->next_read = now();
  }
  auto finishing = core->client->finish();
  co_await std::move(finishing);
}

class Client final : public PlcClient {
 public:
  Client(const asio::any_io_executor& executor, CorePtr core) : core_(std::move(core)) {
    asio::co_spawn(executor, keep_line(core_), [](const std::exception_ptr& error) {
      if (error) std::rethrow_exception(error);  // a bug: it ends io_context::run and the program
    });
  }
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;
  Client(Client&&) = delete;
  Client& operator=(Client&&) = delete;
  // Cancelling a timer throws only on a broken reactor.
  ~Client() override {  // NOLINT(bugprone-exception-escape)
    core_->listener = nullptr;
    Client::stop();
  }

  [[nodiscard]] std::string_view name() const override { return "modbus client"; }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    return {true, "the PLC sees the heartbeat stop; it must treat 2 s without a change as not accepted"};
  }
  base::Result<Applied> apply(const base::CellSignal& signal) override {
    if (core_->stopped) return base::Error{base::ErrorCode::kCancelled, "the Modbus client was stopped"};
    core_->want(signal);
    if (!core_->client->connected()) return disconnected();
    if (core_->write_trouble) return *core_->write_trouble;
    if (core_->read_trouble) return *core_->read_trouble;  // else only the PLC's silence would be noticed
    return Applied::kSent;
  }
  void safe() override { core_->want(made_safe(core_->latest)); }
  void stop() override {
    if (std::exchange(core_->stopped, true)) return;
    core_->want(made_safe(core_->latest));
    core_->client->leave(core_->question());
    core_->wake.cancel();
  }
  [[nodiscard]] ModbusClientCounters counters() const override { return core_->client->counters(); }
  [[nodiscard]] std::optional<base::Error> trouble() const override {
    if (!core_->client->connected()) return disconnected();
    return core_->write_trouble ? core_->write_trouble : core_->read_trouble;
  }
  void on_inputs(std::function<void(const base::PlcInputs&)> listener) override {
    core_->listener = std::move(listener);
  }

 private:
  // Whatever ended the link: the caller needs to know that nothing is shown.
  [[nodiscard]] base::Error disconnected() const {
    const std::string detail = core_->write_trouble  ? core_->write_trouble->detail
                               : core_->read_trouble ? core_->read_trouble->detail
                                                     : "modbus " + core_->client->name() + ": not connected";
    return {base::ErrorCode::kDisconnected, detail};
  }

  CorePtr core_;
};

base::Outcome check(const PlcClientOptions& options) {
  const auto invalid = [&](const std::string& what) {
    return base::Error{base::ErrorCode::kInvalidConfig, "modbus " + options.peer.host + ": " + what};
  };
  constexpr unsigned kRegisters = 65536;
  constexpr std::chrono::milliseconds kShortest{10};
  constexpr std::chrono::milliseconds kLongest{500};
  const unsigned cell_end = unsigned{options.cell_block} + registers::cell::kSize;
  if (cell_end > kRegisters) return invalid("the cell's block of 75 registers must end at 65535 or below");
  if (options.every < kShortest || options.every > kLongest) return invalid("every: expected 10 to 500 ms");
  if (!options.plc_block) return base::Done{};
  const unsigned plc_end = unsigned{*options.plc_block} + registers::plc::kSize;
  if (plc_end > kRegisters) return invalid("the PLC's block of 64 registers must end at 65535 or below");
  if (*options.plc_block < cell_end && options.cell_block < plc_end) {
    return invalid("the cell's block (75 registers from " + std::to_string(options.cell_block) +
                   ") and the PLC's (64 from " + std::to_string(*options.plc_block) + ") overlap");
  }
  return base::Done{};
}

}  // namespace

base::Result<std::unique_ptr<PlcClient>> make_plc_client(const asio::any_io_executor& executor,
                                                         const PlcClientOptions& options) {
  if (const base::Outcome fine = check(options); !fine) return fine.error();
  auto client = ModbusClient::make(executor, options.peer);
  if (!client) return client.error();
  auto core = std::make_shared<Core>(executor, options, *std::move(client));
  std::unique_ptr<PlcClient> made = std::make_unique<Client>(executor, std::move(core));
  return made;
}

}  // namespace crestgate::driver
