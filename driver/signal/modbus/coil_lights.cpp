// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/modbus/coil_lights.h"

#include <algorithm>
#include <exception>
#include <string>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>

#include "driver/signal/modbus/coil_plan.h"

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using std::chrono::milliseconds;

CoilPlan::Time now() { return std::chrono::steady_clock::now(); }

// Shared by the device and its coroutine, which may outlive it for its last write.
struct Core {
  Core(const asio::any_io_executor& executor, CoilLightsOptions with, std::unique_ptr<ModbusClient> line)
      : options(std::move(with)),
        client(std::move(line)),
        wake(executor),
        plan(options.lights, options.told_within),
        name("coils " + std::to_string(options.first_coil) + " to " +
             std::to_string(options.first_coil + options.lights - 1) + " of " + client->name()),
        trouble(base::Error{base::ErrorCode::kDisconnected, name + ": not connected yet"}) {}

  void fail(base::Error error) {
    plan.doubt();
    trouble = std::move(error);
  }

  CoilLightsOptions options;
  std::unique_ptr<ModbusClient> client;
  asio::steady_timer wake;
  CoilPlan plan;
  std::string name;
  std::optional<base::Error> trouble;
  CoilLightsCounters counters;
  bool stopped = false;
};
using CorePtr = std::shared_ptr<Core>;

// Writes `target` and reads it back. False: something went wrong, and the plan knows.
Awaitable<bool> write_and_read(CorePtr core, std::vector<bool> target) {
  ++core->counters.writes;
  core->plan.begin(target);
  auto writing = core->client->ask(tell_coils(core->options.first_coil, target));
  const auto written = co_await std::move(writing);
  if (!written) {
    core->fail(written.error());
    co_return false;
  }
  auto reading = core->client->ask(ask_coils(core->options.first_coil, core->options.lights));
  const auto read = co_await std::move(reading);
  if (!read) {
    core->fail(read.error());
    co_return false;
  }
  if (unpack_coils(*read, core->options.lights) != target) {
    ++core->counters.mismatches;
    core->plan.mismatched(target);
    core->trouble = base::Error{base::ErrorCode::kDeviceFault,
                                core->name + ": read back otherwise than written; everything is put off"};
    co_return false;
  }
  ++core->counters.confirmed;
  core->plan.confirmed(target, now());
  if (!core->plan.has_fault()) core->trouble.reset();
  co_return true;
}

// One write, then the wait until the next is due: none when there is more to change, and none between a failure
// and the attempt to put everything off.
Awaitable<void> one_round(CorePtr core) {
  const CoilPlan::Time began = now();
  const std::vector<bool> target = core->plan.target(began);
  auto writing = write_and_read(core, target);
  const bool done = co_await std::move(writing);
  if (core->stopped || !core->client->connected()) co_return;
  if (!done && target != core->plan.dark()) co_return;
  core->wake.expires_at(began + core->options.refresh);
  if (done && core->plan.target(now()) != target) co_return;
  co_await core->wake.async_wait(asio::as_tuple(asio::use_awaitable));
}

Awaitable<void> keep_lights(CorePtr core) {
  while (!core->stopped) {
    if (core->client->connected()) {
      auto round = one_round(core);
      co_await std::move(round);
      continue;
    }
    core->plan.doubt();
    auto connecting = core->client->connect();
    const base::Outcome connected = co_await std::move(connecting);
    if (!connected) core->trouble = connected.error();  // connect() waits before it tries again
  }
  auto finishing = core->client->finish();
  co_await std::move(finishing);
}

class Lights final : public CoilLights {
 public:
  Lights(const asio::any_io_executor& executor, CorePtr core) : core_(std::move(core)) {
    asio::co_spawn(executor, keep_lights(core_), [](const std::exception_ptr& error) {
      if (error) std::rethrow_exception(error);  // a bug: it ends io_context::run and the program
    });
  }
  Lights(const Lights&) = delete;
  Lights& operator=(const Lights&) = delete;
  Lights(Lights&&) = delete;
  Lights& operator=(Lights&&) = delete;
  // Cancelling a timer throws only on a broken reactor.
  ~Lights() override { Lights::stop(); }  // NOLINT(bugprone-exception-escape)

  [[nodiscard]] std::string_view name() const override { return core_->name; }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    const auto after = core_->options.falls_after.count();
    if (after == 0) {
      return {false, "the I/O block has no watchdog of its own: it keeps a light on when we fall silent"};
    }
    return {true, "the I/O block switches its outputs off when it hears nothing for " +
                      std::to_string(after) + " ms, as the site states"};
  }
  [[nodiscard]] std::size_t light_count() const override { return core_->options.lights; }
  base::Result<Applied> set(std::span<const bool> lit) override {
    if (core_->stopped) return base::Error{base::ErrorCode::kCancelled, core_->name + ": stopped"};
    const CoilPlan::Time at = now();
    const std::vector<bool> before = core_->plan.target(at);
    core_->plan.want(lit, at);
    if (core_->plan.target(at) != before) core_->wake.cancel();
    if (!core_->client->connected()) {
      return base::Error{base::ErrorCode::kDisconnected,
                         core_->trouble ? core_->trouble->detail : core_->name + ": not connected"};
    }
    if (core_->trouble) return *core_->trouble;
    const auto confirmed = core_->plan.confirmed_at();
    const bool fresh = confirmed && at - *confirmed <= 2 * core_->options.refresh;
    return core_->plan.shows_wanted() && fresh ? Applied::kConfirmed : Applied::kSent;
  }
  void stop() override {
    if (std::exchange(core_->stopped, true)) return;
    core_->client->leave(tell_coils(core_->options.first_coil, core_->plan.dark()));
    core_->wake.cancel();
  }
  [[nodiscard]] CoilLightsCounters counters() const override { return core_->counters; }
  [[nodiscard]] ModbusClientCounters line_counters() const override { return core_->client->counters(); }

 private:
  CorePtr core_;
};

base::Outcome check(const CoilLightsOptions& options) {
  const auto invalid = [&](const std::string& what) {
    return base::Error{base::ErrorCode::kInvalidConfig, "coils of " + options.peer.host + ": " + what};
  };
  constexpr unsigned kCoils = 65536;
  constexpr unsigned kMostLights = 64;
  constexpr milliseconds kQuickest{150};
  constexpr milliseconds kSlowest{5000};
  if (options.lights == 0 || options.lights > kMostLights) return invalid("expected 1 to 64 lights");
  if (unsigned{options.first_coil} + options.lights > kCoils) {
    return invalid("the last coil must not be beyond 65535");
  }
  const milliseconds after = options.falls_after;
  if (after.count() != 0 && (after < kQuickest || after > kSlowest)) {
    return invalid("the block's watchdog: expected 0 (it has none) or 150 to 5000 ms, found " +
                   std::to_string(after.count()));
  }
  if (options.refresh.count() <= 0 || options.told_within.count() <= 0)
    return invalid("times must be above 0");
  return base::Done{};
}

}  // namespace

base::Result<std::unique_ptr<CoilLights>> make_coil_lights(const asio::any_io_executor& executor,
                                                           const CoilLightsOptions& options) {
  if (const base::Outcome fine = check(options); !fine) return fine.error();
  auto client = ModbusClient::make(executor, options.peer);
  if (!client) return client.error();
  CoilLightsOptions kept = options;
  if (kept.falls_after.count() != 0) kept.refresh = std::min(kept.refresh, kept.falls_after / 3);
  auto core = std::make_shared<Core>(executor, std::move(kept), *std::move(client));
  std::unique_ptr<CoilLights> made = std::make_unique<Lights>(executor, std::move(core));
  return made;
}

}  // namespace crestgate::driver
