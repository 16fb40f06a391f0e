// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/scan_station.h"

#include <algorithm>
#include <array>
#include <exception>
#include <random>
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
using Clock = std::chrono::steady_clock;

constexpr std::size_t kChunkBytes = 4096;

std::uint64_t& counter_of(ScannerHealth& health, LineFate fate) {
  switch (fate) {
    case LineFate::kRead:
      return health.lines;
    case LineFate::kUnreadable:
      return health.unreadable;
    case LineFate::kOverlong:
      return health.overlong;
    case LineFate::kHalf:
      break;
  }
  return health.half;
}

struct Station {
  Station(const asio::any_io_executor& on, ScanSource from, const ScanTiming& with)
      : executor(on), source(std::move(from)), timing(with), wake(on), lines({.patience = with.patience}) {}

  // Listeners are copied before they are called: they may replace themselves, or destroy the scanner.
  void tell_change() const {
    const auto listener = change_listener;
    if (listener) listener();
  }
  void set_offline(const base::Error& why) {
    const bool changed = online || why.code != reason.code || why.detail != reason.detail;
    online = false;
    reason = why;
    if (changed) tell_change();
  }
  void set_online() {
    online = true;
    pause = timing.first_pause;
    ++health.connections;
    tell_change();
  }
  void tell_news() {
    for (LineNews& news : lines.take_news()) {
      if (stopped) return;
      ++counter_of(health, news.fate);
      const bool read = news.fate == LineFate::kRead;
      const auto listener = read ? line_listener : unreadable_listener;
      if (listener)
        listener(read ? std::move(news.text) : source.name + ": a label was dropped: " + news.text);
    }
  }
  std::chrono::milliseconds next_pause() {
    const auto now = pause;
    pause = std::min(2 * pause, timing.longest_pause);
    std::uniform_int_distribution<std::int64_t> stretch(0, now.count() / 10);
    return now + std::chrono::milliseconds(stretch(chance));
  }

  asio::any_io_executor executor;
  ScanSource source;
  ScanTiming timing;
  asio::steady_timer wake;
  LineAssembler lines;
  std::unique_ptr<ByteStream> stream;
  bool started = false;
  bool stopped = false;
  bool online = false;
  base::Error reason{ErrorCode::kDisconnected, "the scanner's port has not been opened yet"};
  std::function<void(std::string)> line_listener;
  std::function<void(std::string)> unreadable_listener;
  std::function<void()> change_listener;
  std::chrono::milliseconds pause = timing.first_pause;
  ScannerHealth health;
  std::minstd_rand chance{std::random_device{}()};
};
using StationPtr = std::shared_ptr<Station>;

Awaitable<base::Outcome> wait_for_silence(StationPtr self) {
  std::array<std::byte, kChunkBytes> waste{};
  self->stream->discard_input();
  const auto limit = Clock::now() + self->timing.silence_limit;
  while (Clock::now() < limit) {
    auto reading = self->stream->read_some(waste, Clock::now() + self->timing.silence);
    const auto count = co_await std::move(reading);
    if (count) continue;
    if (count.error().code == ErrorCode::kNoReply) co_return base::Done{};
    co_return count.error();
  }
  co_return base::Error{ErrorCode::kMalformed, self->source.name + ": something sends without a pause for " +
                                                   std::to_string(self->timing.silence_limit.count()) +
                                                   " ms; is this the scanner's port?"};
}

// Ends with why nothing can be read any more.
Awaitable<base::Error> read_labels(StationPtr self) {
  std::array<std::byte, kChunkBytes> chunk{};
  const DecodeScan decode = self->source.make_decoder();
  while (!self->stopped) {
    const auto deadline = self->lines.deadline().value_or(Clock::time_point::max());
    auto reading = self->stream->read_some(chunk, deadline);
    const auto count = co_await std::move(reading);
    if (!count && count.error().code != ErrorCode::kNoReply) co_return count.error();
    const auto now = Clock::now();
    if (count) decode(std::span(chunk).first(*count), now, self->lines);
    self->lines.pass_time(now);
    self->tell_news();
  }
  co_return base::Error{ErrorCode::kDisconnected, "stopped"};
}

Awaitable<base::Error> one_connection(StationPtr self) {
  auto opening = self->source.open();
  auto opened = co_await std::move(opening);
  if (!opened) co_return opened.error();
  if (self->stopped) co_return base::Error{ErrorCode::kDisconnected, "stopped"};
  self->stream = *std::move(opened);
  auto settling = wait_for_silence(self);
  const auto settled = co_await std::move(settling);
  if (!settled) co_return settled.error();
  if (self->stopped) co_return base::Error{ErrorCode::kDisconnected, "stopped"};
  self->set_online();
  auto reading = read_labels(self);
  co_return co_await std::move(reading);
}

Awaitable<void> connect_for_ever(StationPtr self) {
  while (!self->stopped) {
    auto connecting = one_connection(self);
    const base::Error why = co_await std::move(connecting);
    self->stream.reset();
    self->lines.abandon();
    self->tell_news();
    if (self->stopped) break;
    self->set_offline(why);
    if (self->stopped) break;  // by the listener
    self->wake.expires_after(self->next_pause());
    co_await self->wake.async_wait(asio::as_tuple(asio::use_awaitable));
  }
}

class ScanStation final : public Scanner {
 public:
  explicit ScanStation(StationPtr station) : station_(std::move(station)) {}
  ScanStation(const ScanStation&) = delete;
  ScanStation& operator=(const ScanStation&) = delete;
  ScanStation(ScanStation&&) = delete;
  ScanStation& operator=(ScanStation&&) = delete;
  // Cancelling a timer throws only on a broken reactor.
  ~ScanStation() override {  // NOLINT(bugprone-exception-escape)
    ScanStation::stop();
  }

  void on_line(std::function<void(std::string)> listener) override {
    station_->line_listener = std::move(listener);
  }
  void on_unreadable(std::function<void(std::string)> listener) override {
    station_->unreadable_listener = std::move(listener);
  }
  void on_change(std::function<void()> listener) override { station_->change_listener = std::move(listener); }
  [[nodiscard]] bool online() const override { return station_->online; }
  [[nodiscard]] base::Error offline_reason() const override { return station_->reason; }
  [[nodiscard]] ScannerHealth health() const override { return station_->health; }

  void start() override {
    if (station_->stopped || std::exchange(station_->started, true)) return;
    asio::co_spawn(
        station_->executor, connect_for_ever(station_),
        [station = station_](const std::exception_ptr& error) {
          if (!error) return;
          station->set_offline({ErrorCode::kIo, "the scanner's connection ended by an exception"});
          std::rethrow_exception(error);  // a bug: without this loop no label would ever come again
        });
  }
  void stop() override {
    if (std::exchange(station_->stopped, true)) return;
    if (station_->stream) station_->stream->close();
    station_->online = false;
    station_->reason = {ErrorCode::kDisconnected, "the scanner's port was closed by us"};
    station_->line_listener = nullptr;
    station_->unreadable_listener = nullptr;
    station_->change_listener = nullptr;
    station_->wake.cancel();
  }

 private:
  StationPtr station_;
};

}  // namespace

std::unique_ptr<Scanner> make_scan_station(const asio::any_io_executor& executor, ScanSource source,
                                           const ScanTiming& timing) {
  return std::make_unique<ScanStation>(std::make_shared<Station>(executor, std::move(source), timing));
}

}  // namespace crestgate::driver
