// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/relay/relay_lights.h"

#include <algorithm>
#include <exception>
#include <string>
#include <utility>

#include <boost/asio/co_spawn.hpp>

#include "driver/signal/relay/relay_session.h"

namespace crestgate::driver {
namespace {

using Clock = RelayState::Clock;

// So long an answer is simply under way.
constexpr std::chrono::milliseconds kPrompt{150};

void spawn(const boost::asio::any_io_executor& executor, Awaitable<void> work) {
  boost::asio::co_spawn(executor, std::move(work), [](const std::exception_ptr& failure) {
    // A bug of ours: out of io_context::run it ends the program.
    if (failure) std::rethrow_exception(failure);
  });
}

std::string port_text(const PortAddress& address) {
  if (const auto* tcp = std::get_if<TcpAddress>(&address))
    return "tcp:" + tcp->host + ":" + std::to_string(tcp->port);
  return std::get<PortIdentity>(address).text;
}

class RelayLights final : public LightDevice {
 public:
  explicit RelayLights(RelayPtr relay)
      : relay_(std::move(relay)),
        name_(relay_->dialect.name + " on " + port_text(relay_->port.address)),
        answers_(std::none_of(relay_->dialect.lights.begin(), relay_->dialect.lights.end(),
                              [](const RelayLight& light) { return light.reply.empty(); })) {
    spawn(relay_->executor, keep_relay(relay_));
  }
  RelayLights(const RelayLights&) = delete;
  RelayLights& operator=(const RelayLights&) = delete;
  ~RelayLights() override { RelayLights::stop(); }  // NOLINT(bugprone-exception-escape): out of memory

  [[nodiscard]] std::string_view name() const override { return name_; }
  [[nodiscard]] SelfFall falls_by_itself() const override { return relay_fall(relay_->dialect); }
  [[nodiscard]] std::size_t light_count() const override { return relay_->dialect.lights.size(); }

  base::Result<Applied> set(std::span<const bool> lit) override {
    if (relay_->stopped) return base::Error{base::ErrorCode::kCancelled, name_ + ": stopped"};
    const Clock::time_point now = Clock::now();
    if (is_done(now)) done_at_ = now;
    std::copy(lit.begin(), lit.end(), relay_->wanted.begin());
    relay_->told = now;
    relay_->wake.cancel();
    if (relay_->trouble) return *relay_->trouble;
    if (!relay_->ready) return base::Error{base::ErrorCode::kBusy, name_ + ": not open yet"};
    if (is_done(now)) return answers_ ? Applied::kConfirmed : Applied::kSent;
    if (now - done_at_ < kPrompt) return Applied::kSent;
    return base::Error{base::ErrorCode::kBusy, name_ + ": has not answered yet"};
  }

  void stop() override {
    if (std::exchange(relay_->stopped, true)) return;
    relay_->wake.cancel();
    relay_->rest.cancel();
    if (relay_->stream && !relay_->writing) spawn(relay_->executor, leave_relay_off(relay_));
  }

 private:
  [[nodiscard]] bool is_done(Clock::time_point now) const {
    for (std::size_t i = 0; i < light_count(); ++i) {
      if (relay_->shown.at(i) != relay_->wants(i, now)) return false;
    }
    return relay_->ready;
  }

  RelayPtr relay_;
  std::string name_;
  bool answers_;
  Clock::time_point done_at_;  // when all was last as it was wanted
};

}  // namespace

base::Result<std::unique_ptr<LightDevice>> make_relay_lights(const boost::asio::any_io_executor& executor,
                                                             PortOptions port, RelayDialect dialect) {
  if (const auto checked = check_relay(dialect); !checked) return checked.error();
  port.serial = dialect.serial;
  auto relay = std::make_shared<RelayState>(executor, std::move(port), std::move(dialect));
  std::unique_ptr<LightDevice> device = std::make_unique<RelayLights>(std::move(relay));
  return device;
}

}  // namespace crestgate::driver
