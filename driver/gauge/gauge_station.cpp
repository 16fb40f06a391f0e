// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/gauge_station.h"

#include <algorithm>
#include <exception>
#include <random>
#include <string>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>

namespace crestgate::driver {
namespace {

namespace asio = boost::asio;
using base::ErrorCode;

void add(GaugeHealth& sum, const GaugeHealth& part) {
  sum.frames_good += part.frames_good;
  sum.frames_damaged += part.frames_damaged;
  sum.frames_overlong += part.frames_overlong;
  sum.frames_malformed += part.frames_malformed;
  sum.frames_unknown_type += part.frames_unknown_type;
  sum.frames_other_version += part.frames_other_version;
  sum.frames_unexpected += part.frames_unexpected;
  sum.repeats += part.repeats;
  sum.resends += part.resends;
  sum.connections += part.connections;
  if (part.seconds_since_last_byte) sum.seconds_since_last_byte = part.seconds_since_last_byte;
  sum.stylus_clear_seen = part.stylus_clear_seen;
  sum.moving_seen = part.moving_seen;
}

struct Station {
  Station(const asio::any_io_executor& on, OpenStream opener, MakeSession maker, StationOptions with)
      : executor(on), open(std::move(opener)), make(std::move(maker)), options(with), wake(on) {}

  [[nodiscard]] bool is_online() const { return online && session && session->online(); }
  // A session may have failed a moment before its loss is noticed here.
  [[nodiscard]] base::Error why_offline() const {
    return online && session && !session->online() ? session->offline_reason() : reason;
  }
  void set_offline(const base::Error& why) {
    const bool changed = online || why.code != reason.code || why.detail != reason.detail;
    online = false;
    reason = why;
    if (changed && listener) listener();
  }
  void set_online() {
    online = true;
    if (listener) listener();
  }
  // A gauge that restarted or answered wrongly is no reason to hammer the port; a first failure is retried
  // soon.
  std::chrono::milliseconds next_pause() {
    const auto now = pause;
    pause = std::min(2 * pause, options.longest_pause);
    std::uniform_int_distribution<std::int64_t> stretch(0, now.count() / 10);
    return now + std::chrono::milliseconds(stretch(chance));
  }
  void drop_session() {
    if (!session) return;
    session->on_change(nullptr);
    session->stop();
    GaugeHealth last = session->health();
    last.stylus_clear_seen.reset();
    last.moving_seen.reset();
    if (last.seconds_since_last_byte) {
      last_byte_before = std::chrono::steady_clock::now() -
                         std::chrono::duration_cast<std::chrono::steady_clock::duration>(
                             std::chrono::duration<double>(*last.seconds_since_last_byte));
    }
    add(past, last);
    session.reset();
  }

  asio::any_io_executor executor;
  OpenStream open;
  MakeSession make;
  StationOptions options;
  asio::steady_timer wake;
  std::shared_ptr<Gauge> session;  // shared with the requests that wait on it
  bool stopped = false;
  bool online = false;
  base::Error reason{ErrorCode::kDisconnected, "the gauge's port has not been opened yet"};
  std::function<void()> listener;
  std::chrono::milliseconds pause = options.first_pause;
  GaugeHealth past;
  std::optional<std::chrono::steady_clock::time_point> last_byte_before;
  std::minstd_rand chance{std::random_device{}()};
};
using StationPtr = std::shared_ptr<Station>;

Awaitable<void> wait_for(StationPtr self, std::chrono::milliseconds time) {
  if (self->stopped) co_return;
  self->wake.expires_after(time);
  co_await self->wake.async_wait(asio::as_tuple(asio::use_awaitable));
}

// Opens, identifies, and stays until the session is lost. Ends with why it is offline.
Awaitable<base::Error> one_connection(StationPtr self) {
  auto opening = self->open();
  auto stream = co_await std::move(opening);
  if (!stream) co_return stream.error();
  if (self->stopped) co_return base::Error{ErrorCode::kDisconnected, "stopped"};
  self->session = self->make(*std::move(stream));
  const std::shared_ptr<Gauge> session = self->session;
  auto identifying = session->identify();
  const auto identity = co_await std::move(identifying);
  if (!identity) co_return identity.error();
  if (!session->online()) co_return session->offline_reason();
  self->pause = self->options.first_pause;
  session->on_change([weak = std::weak_ptr<Station>(self)] {
    if (const auto station = weak.lock()) station->wake.cancel();
  });
  self->set_online();
  while (!self->stopped && session->online()) {
    self->wake.expires_at(std::chrono::steady_clock::time_point::max());
    co_await self->wake.async_wait(asio::as_tuple(asio::use_awaitable));
  }
  co_return session->offline_reason();
}

Awaitable<void> connect_for_ever(StationPtr self) {
  while (!self->stopped) {
    auto connecting = one_connection(self);
    const base::Error why = co_await std::move(connecting);
    self->drop_session();
    if (self->stopped) break;
    self->set_offline(why);
    auto pausing = wait_for(self, self->next_pause());
    co_await std::move(pausing);
  }
}

class GaugeStation final : public Gauge {
 public:
  explicit GaugeStation(StationPtr station) : station_(std::move(station)) {
    asio::co_spawn(
        station_->executor, connect_for_ever(station_),
        [station = station_](const std::exception_ptr& error) {
          if (!error) return;
          station->set_offline({ErrorCode::kIo, "the gauge's connection ended by an exception"});
          std::rethrow_exception(error);  // a bug: without this loop the gauge would never come back
        });
  }
  GaugeStation(const GaugeStation&) = delete;
  GaugeStation& operator=(const GaugeStation&) = delete;
  GaugeStation(GaugeStation&&) = delete;
  GaugeStation& operator=(GaugeStation&&) = delete;
  // Cancelling a timer throws only on a broken reactor.
  ~GaugeStation() override {  // NOLINT(bugprone-exception-escape)
    station_->listener = nullptr;
    GaugeStation::stop();
  }

  Awaitable<base::Result<base::GaugeIdentity>> identify() override { return identify_now(station_); }
  Awaitable<base::Result<GaugeState>> state() override { return state_now(station_); }
  Awaitable<base::Result<StillReading>> still_reading(std::chrono::milliseconds averaging) override {
    return still_now(station_, averaging);
  }
  Awaitable<base::Result<TraverseResult>> traverse(TraverseRequest request) override {
    return traverse_now(station_, request);
  }
  Awaitable<base::Outcome> abort() override { return abort_now(station_); }
  Awaitable<base::Outcome> retract() override { return retract_now(station_); }

  [[nodiscard]] GaugeHealth health() const override {
    GaugeHealth sum = station_->past;
    if (station_->last_byte_before) {
      sum.seconds_since_last_byte =
          std::chrono::duration<double>(std::chrono::steady_clock::now() - *station_->last_byte_before)
              .count();
    }
    if (station_->session) add(sum, station_->session->health());
    return sum;
  }
  [[nodiscard]] bool online() const override { return station_->is_online(); }
  [[nodiscard]] base::Error offline_reason() const override { return station_->why_offline(); }
  void on_change(std::function<void()> listener) override { station_->listener = std::move(listener); }
  void stop() override {
    if (std::exchange(station_->stopped, true)) return;
    station_->drop_session();
    station_->online = false;
    station_->reason = {ErrorCode::kDisconnected, "the gauge's port was closed by us"};
    station_->wake.cancel();
  }

 private:
  // The session that answers now, or why there is none.
  static base::Result<std::shared_ptr<Gauge>> session_of(const Station& station) {
    if (station.is_online()) return station.session;
    const base::Error why = station.why_offline();
    const bool telling = why.code == ErrorCode::kWrongIdentity || why.code == ErrorCode::kNotSupported;
    return base::Error{telling ? why.code : ErrorCode::kDisconnected,
                       "the gauge is offline (" + why.detail + ")"};
  }

  static Awaitable<base::Result<base::GaugeIdentity>> identify_now(StationPtr station) {
    const auto session = session_of(*station);
    if (!session) co_return session.error();
    auto asking = (*session)->identify();
    co_return co_await std::move(asking);
  }
  static Awaitable<base::Result<GaugeState>> state_now(StationPtr station) {
    const auto session = session_of(*station);
    if (!session) co_return session.error();
    auto asking = (*session)->state();
    co_return co_await std::move(asking);
  }
  static Awaitable<base::Result<StillReading>> still_now(StationPtr station,
                                                         std::chrono::milliseconds averaging) {
    const auto session = session_of(*station);
    if (!session) co_return session.error();
    auto asking = (*session)->still_reading(averaging);
    co_return co_await std::move(asking);
  }
  static Awaitable<base::Result<TraverseResult>> traverse_now(StationPtr station, TraverseRequest request) {
    const auto session = session_of(*station);
    if (!session) co_return session.error();
    auto asking = (*session)->traverse(request);
    co_return co_await std::move(asking);
  }
  static Awaitable<base::Outcome> abort_now(StationPtr station) {
    const auto session = session_of(*station);
    if (!session) co_return session.error();
    auto asking = (*session)->abort();
    co_return co_await std::move(asking);
  }
  static Awaitable<base::Outcome> retract_now(StationPtr station) {
    const auto session = session_of(*station);
    if (!session) co_return session.error();
    auto asking = (*session)->retract();
    co_return co_await std::move(asking);
  }

  StationPtr station_;
};

}  // namespace

std::unique_ptr<Gauge> make_gauge_station(const asio::any_io_executor& executor, OpenStream open,
                                          MakeSession make, StationOptions options) {
  auto station = std::make_shared<Station>(executor, std::move(open), std::move(make), options);
  return std::make_unique<GaugeStation>(std::move(station));
}

}  // namespace crestgate::driver
