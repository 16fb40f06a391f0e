// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/gauge_tender.h"

#include <exception>
#include <utility>

#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/io_context.hpp>
#include <spdlog/spdlog.h>

#include "driver/gauge/gauge.h"
#include "driver/gauge/gauge_reason.h"

namespace crestgate::cell {
namespace {

namespace asio = boost::asio;

constexpr std::int64_t kGreetAgainMs = 1500;

}  // namespace

class GaugeTender::Engine {
 public:
  Engine(asio::io_context& io, const base::Clock& clock, driver::Gauge& gauge, std::string name,
         std::uint32_t index, TenderListener listener)
      : io_(io),
        clock_(clock),
        gauge_(gauge),
        name_(std::move(name)),
        index_(index),
        listener_(std::move(listener)) {}

  ~Engine() { gauge_.on_change({}); }
  Engine(const Engine&) = delete;
  Engine& operator=(const Engine&) = delete;

  void start() {
    gauge_.on_change([this] { changed(); });
    if (gauge_.online()) changed();
  }

  void watch() {
    if (!gauge_.online() || greeting_) return;
    const auto now = clock_.monotonic();
    if (!greeted_) {
      if (now - greeted_at_ < kGreetAgainMs * base::kNsPerMs) return;
      greeted_at_ = now;
      spawn(greet());
      return;
    }
    // What the gauge says unasked: somebody lowered the stylus at the gauge itself.
    if (gauge_.health().stylus_clear_seen == false) listener_.take(StylusSeenDown{.gauge = index_});
  }

  void spawn(asio::awaitable<void> work) {
    asio::co_spawn(io_, std::move(work), [](const std::exception_ptr& failure) {
      // An exception here is a bug of ours: rethrown out of io_context::run, it ends the program with the
      // outputs safe.
      if (failure) std::rethrow_exception(failure);
    });
  }

  asio::awaitable<void> traverse(StartTraverse action) {
    const base::UtcInstant started_utc = clock_.utc();
    const base::MonotonicInstant started = clock_.monotonic();
    const driver::TraverseRequest request{.length_mm = action.length_mm,
                                          .spacing_mm = action.spacing_mm,
                                          .speed_mm_per_s = action.speed_mm_per_s};
    auto result = co_await gauge_.traverse(request);
    if (!result) {
      listener_.take(TraverseFailed{.ticket = action.ticket,
                                    .reason = driver::reason_of(result.error()),
                                    .detail = result.error().detail});
      co_return;
    }
    if (result->resend_rounds > 0) result->heights.quality |= base::kQualityResent;
    listener_.last_sample(result->last_sample_arrived);
    listener_.take(TraverseCame{.ticket = action.ticket,
                                .heights = std::move(result->heights),
                                .started_utc = started_utc,
                                .started_monotonic = started,
                                .finished_monotonic = result->last_sample_arrived});
  }

  asio::awaitable<void> retract(bool abort) {
    base::Outcome outcome = base::Done{};
    if (abort) {
      outcome = co_await gauge_.abort();
    } else {
      outcome = co_await gauge_.retract();
    }
    StylusWent went{
        .clear = outcome.has_value(), .reason = base::Reason::kNone, .detail = "", .gauge = index_};
    if (!outcome) {
      went.reason = driver::reason_of(outcome.error());
      went.detail = outcome.error().detail;
    }
    listener_.take(std::move(went));
  }

 private:
  void changed() {
    greeted_ = false;
    if (!gauge_.online()) {
      went(gauge_.offline_reason());
      return;
    }
    greeted_at_ = clock_.monotonic();
    spawn(greet());
  }

  void went(const base::Error& why) {
    listener_.warn("gauge" + (name_.empty() ? "" : " '" + name_ + "'"), why.detail);
    listener_.take(GaugeWent{.reason = driver::reason_of(why), .detail = why.detail, .gauge = index_});
  }

  // Learns who is there and where its stylus is, before the cycle may use it.
  asio::awaitable<void> greet() {
    greeting_ = true;
    auto identity = co_await gauge_.identify();
    if (!identity) {
      greeting_failed(identity.error());
      co_return;
    }
    auto state = co_await gauge_.state();
    if (!state) {
      greeting_failed(state.error());
      co_return;
    }
    if (state->fault != 0) {
      greeting_failed({base::ErrorCode::kDeviceFault, "the gauge reports: " + state->fault_text});
      co_return;
    }
    greeting_ = false;
    greeted_ = true;
    spdlog::info("gauge {} {} is online, stylus {}", identity->model, identity->serial_number,
                 state->stylus_clear ? "clear" : "down");
    listener_.take(GaugeCame{.identity = *identity, .stylus_clear = state->stylus_clear, .gauge = index_});
  }

  // The line stands and the gauge does not answer as it should: it is asked again from watch(), for ever.
  void greeting_failed(const base::Error& error) {
    greeting_ = false;
    went(error);
  }

  asio::io_context& io_;
  const base::Clock& clock_;
  driver::Gauge& gauge_;
  const std::string name_;
  const std::uint32_t index_;
  TenderListener listener_;
  bool greeting_ = false;  // a greeting is under way
  bool greeted_ = false;   // the gauge that is online has answered it
  base::MonotonicInstant greeted_at_;
};

GaugeTender::GaugeTender(asio::io_context& io, const base::Clock& clock, driver::Gauge& gauge,
                         std::string name, std::uint32_t index, TenderListener listener)
    : engine_(std::make_unique<Engine>(io, clock, gauge, std::move(name), index, std::move(listener))) {}
GaugeTender::~GaugeTender() = default;

void GaugeTender::start() { engine_->start(); }
void GaugeTender::watch() { engine_->watch(); }
void GaugeTender::perform(const StartTraverse& action) { engine_->spawn(engine_->traverse(action)); }
void GaugeTender::perform(const RetractStylus& action) { engine_->spawn(engine_->retract(action.abort)); }

}  // namespace crestgate::cell
